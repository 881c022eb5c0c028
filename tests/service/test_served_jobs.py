"""The service as it is started by a command, with the planner itself in its children."""

import csv
import http.client
import io
import json
import re
import signal
import socket
import subprocess
import sys
import time
import zipfile
from pathlib import Path

import pytest

from api.command_line import main
from solver.data.plan import Plan
from solver.intake import read_job
from solver.planner.plan_job import plan_job

ROOT = Path(__file__).resolve().parents[2]
LID = json.loads((ROOT / "scenarios" / "lid.json").read_bytes())
CAMPER = json.loads((ROOT / "scenarios" / "camper.json").read_bytes())
WAIT = {"prefer": "wait=120"}


class Served:
    """A service in a process of its own, and requests to it."""

    def __init__(self, folder):
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.log = folder / "log.txt"
        with self.log.open("w") as stream:
            self.process = subprocess.Popen(
                [
                    *(sys.executable, "-m", "api.command_line", "serve"),
                    *("--port", str(self.port), "--data", str(folder / "store"), "--workers", "2"),
                ],
                cwd=ROOT,
                stderr=stream,
            )
        late = time.monotonic() + 120
        while not self._is_ready():
            assert self.process.poll() is None, self.log.read_text()
            assert time.monotonic() < late
            time.sleep(0.05)

    def _is_ready(self):
        try:
            return self("GET", "/v1/ready")[0] == 200
        except OSError:
            return False

    def __call__(self, method, path, body=None, **headers):
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=150)
        content = None if body is None else json.dumps(body)
        told = {key.replace("_", "-"): value for key, value in headers.items()}
        if body is not None:
            told = {"content-type": "application/json"} | told
        connection.request(method, path, content, told)
        answer = connection.getresponse()
        content = answer.read()
        connection.close()
        if answer.headers.get_content_type() in ("application/json", "application/problem+json"):
            content = json.loads(content)
        return answer.status, content, answer.headers

    def done(self, body):
        """The record of a job that has ended."""
        status, record, _ = self("POST", "/v1/jobs", body, **WAIT)
        assert status == 200, record
        return record

    def result(self, record):
        return self("GET", f"/v1/jobs/{record['id']}/result")[1]


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    one = Served(tmp_path_factory.mktemp("served"))
    yield one
    one.process.send_signal(signal.SIGTERM)
    assert one.process.wait(timeout=30) in (0, -signal.SIGTERM)
    told = [json.loads(line) for line in one.log.read_text().splitlines()[1:]]
    assert {"started", "queued", "running", "ended", "request", "closed"} <= {
        line["event"] for line in told
    }
    words = one.log.read_text()
    for secret in ("One lid in a frame", "frame", "aluminium"):  # no contents of a scenario
        assert secret not in words


def test_a_plan_is_the_one_that_the_planner_makes(served):
    record = served.done({"kind": "plan", "scenario": LID, "seconds": 30})
    assert (record["state"], record["outcome"]) == ("finished", "proven")
    plan = Plan.model_validate_json(json.dumps(served.result(record)))
    here = plan_job(read_job(LID), seconds=30, seed=0)
    assert plan.cost == here.cost
    assert record["figures"]["cost"] == here.cost.total
    assert record["figures"]["bound"] == here.proof.bound


def test_what_is_asked_beside_the_scenario_is_planned(served):
    body = {"kind": "plan", "scenario": LID, "what_if": {"splits": ["lid | frame"]}}
    plan = served.result(served.done(body))
    assert [edge["joint"] for edge in plan["edges"] if edge["edge"] == "lid | frame"] == [True]
    status, problem, _ = served("POST", "/v1/jobs", body | {"what_if": {"splits": ["x | y"]}})
    assert (status, problem["errors"][0]["pointer"]) == (422, "/what_if/splits")


def test_an_impossible_job_finishes_and_explains(served):
    heavy = LID | {"shop": {**LID.get("shop", {}), "lift_limit": "2 lb"}}
    record = served.done({"kind": "plan", "scenario": heavy})
    assert (record["state"], record["outcome"]) == ("finished", "impossible")
    assert record["explanation"]
    assert served.result(record)["impossible"][0]["sentence"] == record["explanation"][0]


def test_every_example_can_be_posted_as_it_is(served):
    _, examples, _ = served("GET", "/v1/examples")
    assert set(examples["jobs"]) >= {"plan", "options"}
    for example in examples["jobs"].values():
        assert served.done(example["value"])["state"] == "finished"
    _, api, _ = served("GET", "/v1/openapi.json")
    described = api["paths"]["/v1/jobs"]["post"]["requestBody"]["content"]["application/json"]
    assert described["examples"] == examples["jobs"]


def test_papers_of_a_plan_are_files_to_download(served):
    plan = served.done({"kind": "plan", "scenario": LID})
    record = served.done({"kind": "papers", "job": plan["id"], "paper": "a4"})
    listed = {one["name"]: one for one in served.result(record)["files"]}
    assert {"papers.zip", "index.html", "shopping.pdf", "lists.xlsx"} <= set(listed)
    for name, one in listed.items():
        status, content, headers = served("GET", f"/v1/jobs/{record['id']}/files/{name}")
        assert status == 200
        assert headers["content-type"] == one["media_type"]
        assert headers["x-content-type-options"] == "nosniff"
        if name.endswith((".html", ".svg")):
            assert "sandbox" in headers["content-security-policy"]
        elif not name.endswith((".pdf", ".json")):
            assert headers["content-disposition"] == "attachment"
        if name == "papers.zip":
            with zipfile.ZipFile(io.BytesIO(content)) as archive:
                assert sorted(archive.namelist()) == sorted(set(listed) - {"papers.zip"})
                assert archive.testzip() is None


EVIL = "<script>alert(1)</script>&='\"--"


def test_names_are_escaped_in_every_paper(served):
    scenario = json.loads(
        json.dumps(LID).replace('"lid"', '"=1+1<b>&"').replace("lid |", "=1+1<b>& |")
    )
    scenario["title"] = EVIL
    plan = served.done({"kind": "plan", "scenario": scenario})
    assert plan["title"] == EVIL  # JSON is data; a page that shows it escapes it
    record = served.done({"kind": "papers", "job": plan["id"]})
    for one in served.result(record)["files"]:
        if one["name"].endswith((".html", ".svg", ".csv")):
            _, content, _ = served("GET", f"/v1/jobs/{record['id']}/files/{one['name']}")
            text = content.decode("utf-8")
            assert "<script" not in text
            assert "<b>" not in text or one["name"].endswith(".csv")
            if one["name"].endswith(".csv"):  # a spreadsheet takes these for formulas
                cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
                assert not [cell for cell in cells if re.match(r"[=+@\t\r]|-\D", cell)]


def test_plans_of_jobs_are_compared_and_traded_off(served):
    one = served.done({"kind": "plan", "scenario": LID})
    trade = served.done({"kind": "tradeoff", "scenario": LID, "seconds": 3})
    answer = served.result(trade)
    assert trade["figures"]["plans"] == len(answer["points"]) >= 1
    metals = [point["metal"] for point in answer["points"]]
    assert metals == sorted(metals)
    split = {"splits": ["lid | frame"]}
    other = served.done({"kind": "plan", "scenario": LID, "what_if": split})
    record = served.done({"kind": "compare", "jobs": [one["id"], other["id"]]})
    columns = served.result(record)["columns"]
    assert len(columns) == 2
    plans = [served.result(one), served.result(other)]
    embedded = served.done({"kind": "compare", "plans": plans})
    assert served.result(embedded) == served.result(record)
    status, problem, _ = served("POST", "/v1/jobs", {"kind": "compare", "jobs": [record["id"]]})
    assert status == 422
    assert problem["errors"][0]["pointer"] == "/jobs/0"


def test_a_rerun_goes_on_from_an_old_plan(served):
    plan = served.done({"kind": "plan", "scenario": LID})
    record = served.done({"kind": "rerun", "job": plan["id"], "record": {"cut": "all"}})
    assert record["state"] == "finished"
    made = served.result(record)
    assert made["rerun"] is not None
    assert {source["how"] for source in made["rerun"]["sources"]} == {"kept"}
    body = {"kind": "rerun", "job": plan["id"], "record": {"cut": ["no such piece"]}}
    status, problem, _ = served("POST", "/v1/jobs", body)
    assert status == 422
    assert problem["errors"][0]["pointer"].startswith("/record")


def test_a_large_plan_is_stopped_with_its_best_and_its_child_is_gone(served):
    body = {"kind": "plan", "scenario": CAMPER, "seconds": 600}
    _, job, headers = served("POST", "/v1/jobs", body)
    place = headers["location"]
    late = time.monotonic() + 120
    while (status := served("GET", place + "/best")[0]) != 200:
        assert (status, time.monotonic() < late) == (404, True)
        time.sleep(0.1)
    best = served("GET", place + "/best")[1]
    served("POST", place + "/stop")
    while (record := served("GET", place)[1])["state"] == "running":
        assert time.monotonic() < late
        time.sleep(0.02)
    assert record["state"] == "stopped"
    plan = Plan.model_validate_json(json.dumps(served.result(record)))
    assert plan.cost.objective <= best["cost"]["objective"]
    assert plan.status in ("stopped", "within gap")
    assert job["id"] == record["id"]


def test_a_second_service_on_the_same_folder_is_refused(served):
    told = io.StringIO()
    folder = str(served.log.parent / "store")
    assert main(["serve", "--port", "64999", "--data", folder], err=told) == 2
    assert "another service uses" in told.getvalue()
