"""Jobs over HTTP: asked for, looked at, listened to, stopped, asked for again, deleted."""

import asyncio
import json
import threading
from concurrent.futures import ThreadPoolExecutor

import httpx
import jsonschema
import pytest

from api.http.app import create_app
from api.http.guards import Access
from api.http.problems import problem_schema
from api.service.assembly import service_of
from api.service.board import Board
from api.service.settings import Settings
from tests.service.fake_runs import ENGINE, KINDS

HOME = "http://127.0.0.1:8765"
JSON = {"content-type": "application/json"}
PATCH = {"content-type": "application/merge-patch+json"}


class Client:
    """Requests to an application, without a network."""

    def __init__(self, app):
        self.app = app

    def __call__(self, method, path, body=None, **headers):
        content = body if isinstance(body, bytes | None) else json.dumps(body).encode()
        headers = {key.replace("_", "-"): value for key, value in headers.items()}
        if body is not None and "content-type" not in headers:
            headers |= JSON

        async def one():
            transport = httpx.ASGITransport(app=self.app)
            async with httpx.AsyncClient(transport=transport, base_url=HOME) as client:
                return await client.request(method, path, content=content, headers=headers)

        return asyncio.run(one())

    def job(self, do="answer", **headers):
        return self("POST", "/v1/jobs", {"kind": "fake", "do": do}, **headers)


def assert_problem(answer, status, name):
    assert answer.status_code == status, answer.text[:500]
    assert answer.headers["content-type"] == "application/problem+json"
    details = answer.json()
    jsonschema.Draft202012Validator(problem_schema()).validate(details)
    assert details["type"] == f"/v1/problems/{name}"
    return details


@pytest.fixture
def http(service):
    return Client(create_app(service))


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    """One service for tests that change nothing another asks about."""
    folder = tmp_path_factory.mktemp("shared") / "store"
    service = service_of(ENGINE, Settings(folder=folder, workers=1, niceness=0), kinds=KINDS)
    service.start()
    yield Client(create_app(service))
    service.close()


def test_a_job_is_acknowledged_with_its_place_and_done(http, service, ended):
    answer = http.job()
    assert answer.status_code == 202
    told = answer.json()
    assert answer.headers["location"] == f"/v1/jobs/{told['id']}"
    assert int(answer.headers["retry-after"]) > 0
    ended(service, service.store.record(told["id"]))
    record = http("GET", answer.headers["location"]).json()
    assert (record["state"], record["outcome"]) == ("finished", "done")
    assert http("GET", record["links"]["result"]).json() == {"best": 1.0}


def test_who_prefers_to_wait_is_answered_at_once_if_it_ends_in_time(http):
    # RFC 7240: the preference that was honoured is named in Preference-Applied
    answer = http.job(prefer="respond-async, wait=60")
    assert (answer.status_code, answer.json()["state"]) == (200, "finished")
    assert answer.headers["preference-applied"] == "wait=60"
    answer = http.job("work", prefer="wait=0")
    assert answer.status_code == 202
    http("POST", answer.headers["location"] + "/stop")


@pytest.mark.parametrize("prefer", ["wait", "wait=x", "wait=-1", "handling=lenient", ""])
def test_a_preference_that_is_not_known_is_not_applied(shared, prefer):
    answer = shared.job(prefer=prefer)
    assert answer.status_code in (200, 202)
    assert "preference-applied" not in answer.headers


def test_the_same_key_and_body_give_the_same_job_quoted_or_bare(http):
    first = http.job(idempotency_key='"a key"')
    assert http.job(idempotency_key='"a key"').json()["id"] == first.json()["id"]
    bare = http.job(idempotency_key="bare")
    assert http.job(idempotency_key='"bare"').json()["id"] == bare.json()["id"]
    assert_problem(http.job("sleep 0", idempotency_key="bare"), 422, "key-reused")


def test_equal_requests_are_equal_however_they_are_written(shared):
    one = shared("POST", "/v1/jobs", b'{"kind":"fake","do":"answer"}', idempotency_key="k")
    two = shared("POST", "/v1/jobs", b'{ "do": "answer", "kind": "fake" }', idempotency_key="k")
    assert one.json()["id"] == two.json()["id"]


@pytest.mark.parametrize("key", ["", "a" * 201, "späß".encode(), "a,b c", '"open'])
def test_a_key_that_is_none_is_refused(shared, key):
    assert_problem(shared.job(idempotency_key=key), 422, "invalid-parameter")


def test_a_key_whose_first_request_is_being_answered_is_told_to_wait(http, service, until):
    with ThreadPoolExecutor(1) as thread:
        held = thread.submit(http.job, "work", idempotency_key="k", prefer="wait=60")
        until(lambda: service.store.counts().get("running"))
        refused = http.job("work", idempotency_key="k")
        assert_problem(refused, 409, "key-in-use")
        assert int(refused.headers["retry-after"]) > 0
        service.stop(service.store.page(limit=1)[0].id)
        assert held.result().json()["state"] == "stopped"
    assert http.job("work", idempotency_key="k").json()["id"] == held.result().json()["id"]


def test_the_same_key_from_20_threads_makes_one_job(http, service):
    start = threading.Barrier(20)

    def post(_):
        start.wait()
        return http.job(idempotency_key="one")

    with ThreadPoolExecutor(20) as threads:
        answers = list(threads.map(post, range(20)))
    made = {answer.json()["id"] for answer in answers if answer.status_code in (200, 202)}
    assert {answer.status_code for answer in answers} <= {200, 202, 409}
    assert len(made) == len(service.store.page(limit=99)) == 1


def test_a_stop_keeps_the_best_and_a_delete_keeps_nothing(http, service, ended, until):
    place = http.job("work").headers["location"]
    until(lambda: http("GET", place + "/best").status_code == 200)
    assert_problem(http("GET", place + "/result"), 409, "not-ended")
    assert_problem(http("DELETE", place), 409, "still-running")
    assert http("POST", place + "/stop").status_code in (200, 202)
    ended(service, service.store.record(place.rpartition("/")[2]))
    assert http("GET", place + "/result").json()["best"] <= 7.0
    assert http("POST", place + "/stop").status_code == 200
    assert http("DELETE", place).status_code == 204
    for path in ("", "/result", "/request", "/events"):
        assert_problem(http("GET", place + path), 404, "not-found")


def test_a_job_that_failed_says_how_and_gives_what_it_kept(http, service, ended):
    place = http.job("segfault", prefer="wait=60").headers["location"]
    record = http("GET", place).json()
    assert (record["state"], record["problem"]["how"]) == ("failed", "crashed")
    assert http("GET", place + "/result").json()["best"] == 7.0


def test_a_record_that_did_not_change_is_not_sent_again(shared):
    answer = shared.job(prefer="wait=60")
    place, tag = answer.headers["location"], answer.headers["etag"]
    # RFC 9110: 304 repeats the ETag and has no content
    same = shared("GET", place, if_none_match=f'"other", W/{tag}')
    assert (same.status_code, same.headers["etag"], same.content) == (304, tag, b"")
    assert shared("GET", place, if_none_match='"other"').status_code == 200
    for path in ("/result", "/request"):
        tag = shared("GET", place + path).headers["etag"]
        assert shared("GET", place + path, if_none_match=tag).status_code == 304


def test_what_changed_meanwhile_is_not_stopped_or_deleted_under_if_match(shared):
    place = shared.job(prefer="wait=60").headers["location"]
    assert_problem(shared("DELETE", place, if_match='"0.0"'), 412, "precondition-failed")
    assert_problem(shared("POST", place + "/stop", if_match='"0.0"'), 412, "precondition-failed")
    tag = shared("GET", place).headers["etag"]
    assert_problem(shared("DELETE", place, if_match=f"W/{tag}"), 412, "precondition-failed")
    assert shared("DELETE", place, if_match=tag).status_code == 204


def test_a_job_is_asked_for_again_with_a_merge_patch_under_if_match(http):
    asked = {"kind": "fake", "do": "sleep 0", "title": "first", "seconds": 9.0}
    place = http("POST", "/v1/jobs", asked).headers["location"] + "/request"
    told = http("GET", place)
    assert told.json() == asked
    patch = {"title": "second", "seconds": None}
    again = http("POST", place, patch, if_match=told.headers["etag"], **PATCH)
    assert again.status_code in (200, 202)
    assert again.headers["location"] + "/request" != place
    changed = http("GET", again.headers["location"] + "/request").json()
    assert changed == {"kind": "fake", "do": "sleep 0", "title": "second"}
    assert http("GET", place).json() == asked


def test_a_patch_needs_if_match_and_its_own_media_type(shared):
    place = shared.job().headers["location"] + "/request"
    tag = shared("GET", place).headers["etag"]
    assert_problem(shared("POST", place, {}, **PATCH), 428, "precondition-required")
    assert_problem(shared("POST", place, {}, if_match='"x"', **PATCH), 412, "precondition-failed")
    assert_problem(shared("POST", place, {}, if_match=tag), 415, "not-json")
    assert_problem(shared("POST", "/v1/jobs", {}, **PATCH), 415, "not-json")
    refused = shared("POST", place, {"do": 3}, if_match=tag, **PATCH)
    assert assert_problem(refused, 422, "invalid-job")["errors"][0]["pointer"] == "/do"


def test_jobs_are_listed_in_pages_by_links(http):
    made = [http.job().json()["id"] for _ in range(5)]
    seen, path = [], "/v1/jobs?limit=2"
    while path:
        answer = http("GET", path)
        seen += [job["id"] for job in answer.json()["jobs"]]
        path = answer.json()["next"]
        assert (f'<{path}>; rel="next"' == answer.headers.get("link")) or path is None
    assert seen == made[::-1]


@pytest.mark.parametrize(
    "query",
    ["limit=0", "limit=201", "limit=x", "before=0", "state=lost", "kind=x", "group=/", "a=b"],
)
def test_a_page_that_cannot_be_is_refused(shared, query):
    assert_problem(shared("GET", f"/v1/jobs?{query}"), 422, "invalid-parameter")


def events_of(app, place, **headers):
    """All events of a stream, from when it opens until it ends."""
    text = Client(app)("GET", place + "/events", **headers).text
    found = []
    for block in text.split("\n\n"):
        fields = dict(line.split(": ", 1) for line in block.splitlines() if ": " in line)
        if "data" in fields:
            found.append((fields["id"], fields["event"], json.loads(fields["data"])))
    return found


def test_events_tell_the_way_to_the_end_and_resume_after_the_last_that_was_heard(
    http, service, until
):
    place = http.job("work").headers["location"]
    job_id = place.rpartition("/")[2]
    with ThreadPoolExecutor(1) as thread:
        listening = thread.submit(events_of, http.app, place)
        until(lambda: (service.board.progress(job_id)[0] or {}).get("best", 9) < 6.7)
        service.stop(job_id)
        events = listening.result()
    assert events[-1][1:2] == ("state",)
    assert events[-1][2]["state"] == "stopped"
    progress = [data for _, name, data in events if name == "progress"]
    assert {"phase", "best", "bound", "gap"} <= progress[-1].keys()
    ids = [tuple(map(int, number.split("."))) for number, _, _ in events]
    assert ids == sorted(set(ids))
    last = events_of(http.app, place, last_event_id=events[-2][0])
    assert [number for number, _, _ in last] == [events[-1][0]]


def test_a_listener_that_missed_some_events_hears_them_when_it_comes_back():
    board = Board()
    board.tell_state("a", 2, {}, False)
    for number in range(5):
        board.tell_progress("a", {"best": number})
    board.tell_state("a", 3, {}, False)
    board.tell_progress("a", {"best": 9})
    told = [event.id for event in board.since("a", (2, 3))]
    assert told == [(2, 4), (2, 5), (3, 0), (3, 1)]
    assert board.since("a", (3, 1)) == []
    assert board.since("a", (1, 0)) is None  # some are not kept: how things stand is told instead
    board.tell_state("a", 3, {}, False)
    assert board.since("a", (3, 1)) == []  # a change that was told already


def test_a_board_forgets_a_job_that_ended_when_nobody_listens():
    board = Board()
    board.listen("a", print)
    board.tell_progress("a", {})
    board.tell_state("a", 2, {}, True)
    assert board.topics == 1
    board.leave("a", print)
    assert board.topics == 0


@pytest.mark.parametrize("last", ["", "x", "1", "9999999.9999999", "-1.0", "1.1.1"])
def test_a_last_event_id_that_is_none_of_ours_begins_with_how_things_stand(shared, last):
    place = shared.job(prefer="wait=60").headers["location"]
    (event,) = events_of(shared.app, place, last_event_id=last)
    assert event[2]["state"] == "finished"


def test_a_name_of_a_file_is_looked_up_and_never_a_path(shared):
    place = shared.job(prefer="wait=60").headers["location"]
    for name in ("../../etc/passwd", "/etc/passwd", "result", "%2e%2e/jobs.sqlite3", "a%00b"):
        assert_problem(shared("GET", f"{place}/files/{name}"), 404, "not-found")


def test_what_is_full_is_told_with_its_limit(make_service):
    service = make_service(workers=1, most_queued=1, most_kept=3)
    http = Client(create_app(service))
    refused = None
    for _ in range(4):
        refused = http.job("work")
    assert "1 jobs" in assert_problem(refused, 429, "queue-full")["detail"]
    assert int(refused.headers["retry-after"]) > 0
    for record in service.store.page(limit=9):
        service.stop(record.id)


def test_a_full_store_refuses_new_work_and_is_not_ready(service, monkeypatch, until):
    http = Client(create_app(service))
    until(lambda: http("GET", "/v1/ready").status_code == 200)
    monkeypatch.setattr(service.store, "_room_bytes", lambda db: 0)
    assert_problem(http.job(), 507, "store-full")
    assert_problem(http("GET", "/v1/ready"), 503, "not-ready")
    assert http("GET", "/v1/health").status_code == 200


TOKEN = "0123456789abcdef0123456789abcdef"


@pytest.fixture
def guarded(service):
    return Client(create_app(service, Access(any_address=True, token=TOKEN)))


def test_with_a_token_nothing_of_anyones_work_is_answered_without_it(guarded):
    for method, path in (("GET", "/v1/jobs"), ("GET", "/v1/limits"), ("POST", "/v1/jobs")):
        answer = guarded(method, path, {} if method == "POST" else None)
        assert_problem(answer, 401, "no-token")
        assert answer.headers["www-authenticate"] == "Bearer"
        wrong = guarded(method, path, authorization=f"Bearer {TOKEN}x")
        assert_problem(wrong, 401, "no-token")
    assert guarded("GET", "/v1/jobs", authorization=f"bearer {TOKEN}").status_code == 200
    assert guarded("GET", "/v1/docs").status_code == 200


def test_the_page_turns_the_token_into_a_cookie_that_scripts_cannot_read(guarded):
    assert_problem(guarded("POST", "/v1/session", {"token": "guess"}), 401, "no-token")
    answer = guarded("POST", "/v1/session", {"token": TOKEN})
    assert answer.status_code == 204
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "samesite=strict" in cookie.lower()
    assert TOKEN not in cookie
    value = cookie.partition(";")[0]
    assert guarded("GET", "/v1/jobs", cookie=value).status_code == 200
    assert_problem(guarded("GET", "/v1/jobs", cookie=value + "0"), 401, "no-token")


@pytest.mark.parametrize(
    "body", [b"", b"[]", b'{"token": 1}', b'{"token": "\\ud800"}', b"[" * 4000], ids=range(5)
)
def test_a_session_without_a_token_is_refused(guarded, body):
    assert_problem(guarded("POST", "/v1/session", body), 422, "invalid-parameter")


def test_bound_to_the_network_it_answers_to_addresses_and_named_hosts_only(service):
    access = Access(Access().hosts | {"shop.example"}, any_address=True, token=TOKEN)
    http = Client(create_app(service, access))
    for host in ("10.1.2.3:8765", "[fd00::1]:8765", "shop.example", "localhost"):
        assert http("GET", "/v1/health", host=host).status_code == 200
    for host in ("evil.example", "10.1.2.3.evil.example", "shop.example.evil.example"):
        assert_problem(http("GET", "/v1/health", host=host), 421, "wrong-host")


def test_the_kinds_of_this_test_are_described_too(shared):
    api = shared("GET", "/v1/openapi.json").json()
    assert f"Job.{KINDS['fake'].name}" in api["components"]["schemas"]
