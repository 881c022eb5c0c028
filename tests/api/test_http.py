"""The service answers with a plan or with problem details, whatever comes in."""

import asyncio
import contextlib
import json
import threading
import time

import httpx
import jsonschema
import pytest
from hand_made_plan import SCENARIO, impossible_plan, lid_job, lid_plan, whole_plan

from api.http.app import create_app, limits_told
from api.http.problems import PROBLEM_TYPES, problem_schema
from api.limits import LARGEST_SCENARIO_BYTES, MOST_PROBLEMS_TOLD
from api.service.records import Ending
from api.service.runs import options_answer, plan_answer
from api.service.service import Service
from api.service.settings import Settings
from api.service.store import Store
from api.service.supervise import QuitError
from solver.data.errors import Problem, ScenarioErrors
from solver.data.plan import Plan

HOME = "http://127.0.0.1:8765"
JSON = {"content-type": "application/json"}


def ask(app, method, path, **request):
    """One request to the application, without a network."""

    async def one():
        transport = httpx.ASGITransport(app=app)
        async with httpx.AsyncClient(transport=transport, base_url=HOME) as client:
            return await client.request(method, path, **request)

    return asyncio.run(one())


def post(app, content, query="", headers=None, path="/v1/plans"):
    if not isinstance(content, bytes):
        content = json.dumps(content).encode()
    return ask(app, "POST", f"{path}{query}", content=content, headers=headers or JSON)


def assert_problem(answer, status, name):
    """A problem as RFC 9457 has it: the media type, the status twice, a type that is served."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    details = answer.json()
    jsonschema.Draft202012Validator(problem_schema()).validate(details)
    assert details["status"] == status
    assert details["type"] == f"/v1/problems/{name}"
    return details


def solve_with(engine):
    """Solve in this process with the planner that a test gives, instead of a child."""

    def solve(order, channel):
        inputs = json.loads(order.inputs)
        how = {"seconds": inputs["seconds"], "seed": inputs["seed"]}
        how |= {"should_stop": channel.stop_asked, "should_quit": channel.quit_asked}
        if order.kind == "plan":
            answer = plan_answer(engine.plan(inputs["scenario"], **how))
        else:
            how |= {"count": inputs["count"], "differ_by": inputs["differ_by"]}
            answer = options_answer(engine.options(inputs["scenario"], **how), lid_job())
        return Ending("finished", answer.outline, documents=answer.documents)

    return solve


@contextlib.contextmanager
def served(engine, folder, *, solve=None, access=None, **settings):
    """The application of a service that runs, with a store of its own."""
    told = Settings(folder=folder, **{"workers": 1, **settings})
    service = Service(Store(folder), engine, solve or solve_with(engine), told)
    app = create_app(service, access)
    service.start()
    app.state.service = service
    try:
        yield app
    finally:
        service.close()


@pytest.fixture
def make_app(make_engine, tmp_path):
    """An application with the planner that a test gives."""
    with contextlib.ExitStack() as stack:

        def make(plan=None, *, solve=None, access=None, settings=None, **engine):
            folder = tmp_path / f"store-{len(list(tmp_path.iterdir()))}"
            made = served(
                make_engine(plan, **engine), folder, solve=solve, access=access, **(settings or {})
            )
            return stack.enter_context(made)

        yield make


@pytest.fixture(scope="module")
def app(make_engine, tmp_path_factory):
    with served(make_engine(), tmp_path_factory.mktemp("store") / "s") as made:
        yield made


def test_a_scenario_is_answered_with_its_plan(app):
    answer = post(app, SCENARIO)
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/json"
    assert Plan.model_validate_json(answer.content) == lid_plan()


def test_an_impossible_job_is_an_answer_too(make_app):
    app = make_app(lambda scenario, **how: impossible_plan())
    answer = post(app, SCENARIO)
    assert answer.status_code == 200
    assert answer.json()["status"] == "impossible"
    assert answer.json()["impossible"][0]["ids"] == ["shop.lift_limit", "frame"]


def test_seconds_and_seed_reach_the_planner(make_app):
    seen = {}

    def remember(scenario, **how):
        seen.update(how)
        return lid_plan()

    post(make_app(remember), SCENARIO, "?seconds=2.5&seed=11")
    assert (seen["seconds"], seen["seed"]) == (2.5, 11)


@pytest.mark.parametrize(
    "query",
    [
        "?seconds=0",
        "?seconds=-1",
        "?seconds=1e9",
        "?seconds=nan",
        "?seconds=inf",
        "?seconds=",
        "?seconds=%00",
        "?seconds=1&seconds=2",
        "?seed=-1",
        "?seed=1.5",
        "?seed=99999999999999999999999",
        "?seed=%D9%A3",
        "?sede=3",
        "?seconds=" + "9" * 5000,
    ],
)
def test_parameters_out_of_range_are_refused(app, query):
    assert_problem(post(app, SCENARIO, query), 422, "invalid-parameter")


def test_options_are_answered_with_their_table(app):
    answer = post(app, SCENARIO, path="/v1/options")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/json"
    told = answer.json()
    plans = [Plan.model_validate(plan) for plan in told["options"]]
    assert plans == [lid_plan(), whole_plan()]
    assert [row["plan"] for row in told["table"]] == [plan.id for plan in plans]
    assert told["table"][1]["joints_left"] == ["lid | frame"]
    assert told["symmetry"] is None


def test_the_answer_with_options_keeps_its_description(app):
    api = ask(app, "GET", "/v1/openapi.json").json()
    responses = api["paths"]["/v1/options"]["post"]["responses"]
    schema = responses["200"]["content"]["application/json"]["schema"]
    told = post(app, SCENARIO, path="/v1/options").json()
    jsonschema.Draft202012Validator({**schema, "components": api["components"]}).validate(told)


def test_an_impossible_job_has_no_table_of_options(make_app):
    app = make_app(options=lambda scenario, **how: (impossible_plan(),))
    told = post(app, SCENARIO, path="/v1/options").json()
    assert told["options"][0]["status"] == "impossible"
    assert told["table"] == []


def test_count_and_difference_reach_the_planner(make_app):
    seen = {}

    def remember(scenario, **how):
        seen.update(how)
        return ()

    app = make_app(options=remember)
    answer = post(app, SCENARIO, "?count=3&differ=2&seconds=2.5&seed=11", path="/v1/options")
    assert answer.json()["options"] == []
    assert (seen["count"], seen["differ_by"], seen["seconds"], seen["seed"]) == (3, 2, 2.5, 11)


@pytest.mark.parametrize(
    "query", ["?count=0", "?count=13", "?count=2.0", "?differ=0", "?differ=-1", "?cuont=2"]
)
def test_options_out_of_range_are_refused(app, query):
    assert_problem(post(app, SCENARIO, query, path="/v1/options"), 422, "invalid-parameter")


def test_count_is_no_parameter_of_one_plan(app):
    assert_problem(post(app, SCENARIO, "?count=2"), 422, "invalid-parameter")


def test_options_have_the_guards_and_limits_of_plans(app, make_app):
    foreign = post(app, SCENARIO, headers={**JSON, "origin": "null"}, path="/v1/options")
    assert_problem(foreign, 403, "cross-site")
    large = post(app, b" " * (LARGEST_SCENARIO_BYTES + 1), path="/v1/options")
    assert_problem(large, 413, "body-too-large")
    assert_problem(post(app, b"{}", path="/v1/options"), 422, "invalid-scenario")
    assert_problem(ask(app, "GET", "/v1/options", headers=JSON), 405, "method-not-allowed")

    failing = make_app(solve=lambda order, channel: Ending("failed", problem={"how": "crashed"}))
    assert_problem(post(failing, SCENARIO, path="/v1/options"), 500, "planner-failed")


def _deep(opening, closing, depth):
    return (opening * depth + closing * depth).encode()


_BODY = json.dumps(SCENARIO)
HOSTILE = {
    "nothing": b"",
    "blanks": b" \n\t ",
    "no JSON": b"hello",
    "half a scenario": _BODY[: len(_BODY) // 2].encode(),
    "two values": b"{} {}",
    "a list": b"[]",
    "a number": b"1",
    "null": b"null",
    "a text": b'"plan"',
    "single quotes": b"{'patches': {}}",
    "trailing comma": b'{"patches": {},}',
    "comment": b'{"patches": {}} // mine',
    "NaN": b'{"patches": {"a": {"area": NaN}}}',
    "Infinity": b'{"patches": {"a": {"area": Infinity}}}',
    "minus Infinity": b'{"patches": {"a": {"area": -Infinity}}}',
    "1e999": b'{"patches": {"a": {"area": 1e999}}}',
    "-1e999": b'{"patches": {"a": {"area": -1e999}}}',
    "an integer of 5000 digits": b'{"patches": {"a": {"area": ' + b"9" * 5000 + b"}}}",
    "a fraction of 5000 digits": b'{"patches": {"a": {"area": 0.' + b"1" * 5000 + b"}}}",
    "a lone surrogate": b'{"patches": {"\\ud800": {"area": 1}}}',
    "a lone surrogate in a value": b'{"patches": {"a": {"note": "\\udfff"}}}',
    "a key twice": b'{"patches": {}, "patches": {}}',
    "a key twice deep inside": b'{"patches": {"a": {"area": 1, "area": 2}}}',
    "a key twice, once escaped": b'{"patches": {}, "p\\u0061tches": {}}',
    "100 000 lists deep": _deep("[", "]", 100_000),
    "100 000 objects deep": b'{"a":' * 100_000 + b"1" + b"}" * 100_000,
    "deep and never closed": b"[" * 200_000,
    "deep inside patches": b'{"patches": ' + _deep("[", "]", 500) + b"}",
    "a control character in a name": b'{"patches": {"a\\u0007": {"area": 1}}}',
    "a NUL in a name": b'{"patches": {"a\\u0000": {"area": 1}}}',
    "a bidirectional mark in a name": '{"patches": {"a\u202eb": {"area": 1}}}'.encode(),
    "a raw control character": b'{"patches": {"a\x01": 1}}',
    "no UTF-8": b'{"patches": "\xff\xfe"}',
    "UTF-16": _BODY.encode("utf-16"),
    "UTF-32": _BODY.encode("utf-32"),
    "overlong UTF-8": b'{"patches": "\xc0\xaf"}',
    "half a letter at the end": b'{"patches": "\xe2\x82',
    "too many values": b'{"patches": [' + b"1," * 200_000 + b"1]}",
    "a name of 100 000 letters": b'{"patches": {"' + b"a" * 100_000 + b'": 1}}',
    "an unclosed text full of escapes": b'{"patches": "' + b"\\\\" * 100_000,
}


@pytest.mark.parametrize("body", HOSTILE.values(), ids=HOSTILE.keys())
def test_a_hostile_body_is_refused_without_an_echo(app, body):
    answer = post(app, body)
    details = assert_problem(answer, 422, "invalid-scenario")
    assert details["error_count"] >= 1
    assert all(error["remedy"] for error in details["errors"])
    assert len(answer.content) < 20_000


def test_a_body_over_the_limit_is_refused_by_its_stated_length(app):
    answer = post(app, b" " * (LARGEST_SCENARIO_BYTES + 1))
    assert_problem(answer, 413, "body-too-large")
    assert f"{LARGEST_SCENARIO_BYTES:,}" in answer.json()["detail"]


def test_a_body_over_the_limit_is_refused_while_it_arrives_in_pieces(app):
    async def pieces():
        for _ in range(3 + LARGEST_SCENARIO_BYTES // 100_000):
            yield b" " * 100_000

    answer = ask(app, "POST", "/v1/plans", content=pieces(), headers=JSON)
    assert_problem(answer, 413, "body-too-large")


def test_errors_are_listed_up_to_a_limit_and_counted_beyond(make_app):
    problems = [Problem(f"p{k}", "x", "mend", f"/patches/{k}") for k in range(150)]

    def refuse(tree):
        raise ScenarioErrors(problems, left_out=7)

    details = assert_problem(post(make_app(read=refuse), SCENARIO), 422, "invalid-scenario")
    assert len(details["errors"]) == MOST_PROBLEMS_TOLD
    assert details["error_count"] == 157
    assert details["errors"][0] == {
        "pointer": "/patches/0",
        "place": "p0",
        "value": "x",
        "remedy": "mend",
    }


@pytest.mark.parametrize(
    "headers",
    [
        {"content-type": "text/plain"},
        {"content-type": "application/x-www-form-urlencoded"},
        {"content-type": "application/json; charset=latin-1"},
        {"content-type": "application/jsonp"},
        {"content-type": ""},
        {"content-type": "application/json", "content-encoding": "gzip"},
    ],
)
def test_only_plain_json_is_read(app, headers):
    assert_problem(post(app, SCENARIO, headers=headers), 415, "not-json")


def test_json_with_its_charset_is_read(app):
    headers = {"content-type": "application/json; charset=UTF-8"}
    assert post(app, SCENARIO, headers=headers).status_code == 200


@pytest.mark.parametrize(
    "host",
    [
        "example.org",
        "127.0.0.1.example.org",
        "localhost.example.org:8765",
        "127.0.0.1@example.org",
        "10.0.0.1",
        "[::2]",
        "",
        "127.0.0.1:port",
    ],
)
def test_a_foreign_host_is_refused_for_every_method(app, host):
    answer = post(app, SCENARIO, headers={**JSON, "host": host})
    assert_problem(answer, 421, "wrong-host")
    assert_problem(ask(app, "GET", "/v1/health", headers={"host": host}), 421, "wrong-host")


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST:1234", "127.0.0.1", "[::1]:8765"])
def test_this_machines_own_names_are_answered(app, host):
    assert ask(app, "GET", "/v1/health", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"sec-fetch-site": "whatever"},
        {"origin": "null"},
        {"origin": "http://example.org"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": "https://127.0.0.1:8765"},
    ],
)
def test_a_post_from_another_site_is_refused(app, headers):
    assert_problem(post(app, SCENARIO, headers=JSON | headers), 403, "cross-site")


def test_a_post_from_its_own_page_is_answered(app):
    headers = JSON | {"sec-fetch-site": "same-origin", "origin": HOME}
    assert post(app, SCENARIO, headers=headers).status_code == 200


@pytest.mark.parametrize("path", ["/v1/health", "/v1/docs", "/nowhere", "/v1/openapi.json"])
def test_every_answer_forbids_sniffing_framing_and_sharing(app, path):
    headers = ask(app, "GET", path, headers={"origin": "http://example.org"}).headers
    assert headers["content-security-policy"].startswith("default-src 'none'")
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["x-frame-options"] == "DENY"
    assert headers["cross-origin-resource-policy"] == "same-origin"
    assert not [key for key in headers if key.startswith("access-control-")]


@pytest.mark.parametrize(
    ("method", "path", "status", "name"),
    [
        ("GET", "/v1/nowhere", 404, "not-found"),
        ("GET", "/v1/problems/unheard-of", 404, "not-found"),
        ("GET", "/v1/problems/..%2f..%2fetc", 404, "not-found"),
        ("GET", "/v1/plans", 405, "method-not-allowed"),
        ("DELETE", "/v1/plans", 405, "method-not-allowed"),
        ("OPTIONS", "/v1/plans", 405, "method-not-allowed"),
        ("POST", "/v1/health", 405, "method-not-allowed"),
    ],
)
def test_what_is_not_there_is_a_problem_too(app, method, path, status, name):
    assert_problem(ask(app, method, path, headers=JSON), status, name)


@pytest.mark.parametrize("name", PROBLEM_TYPES)
def test_every_type_of_problem_is_explained_by_the_service(app, name):
    told = ask(app, "GET", f"/v1/problems/{name}").json()
    assert told["type"] == f"/v1/problems/{name}"
    assert told["meaning"]
    assert told["remedy"]


@pytest.mark.parametrize("kind", ["crashed", "refused", "hung", "memory", "killed"])
def test_a_planner_that_fails_is_told_without_its_inside(make_app, kind):
    problem = {"how": kind, "detail": "secret words from /home"}
    app = make_app(solve=lambda order, channel: Ending("failed", problem=problem))
    answer = post(app, SCENARIO)
    assert_problem(answer, 500, "planner-failed")
    assert "secret" not in answer.text


def test_a_fault_of_the_service_is_a_problem_with_safe_headers(make_app):
    def fail(tree):
        raise RuntimeError("secret words")

    app = make_app(read=fail)

    async def one():
        transport = httpx.ASGITransport(app=app, raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=transport, base_url=HOME) as client:
            return await client.post("/v1/plans", json=SCENARIO)

    answer = asyncio.run(one())
    assert_problem(answer, 500, "server-error")
    assert "secret" not in answer.text
    assert answer.headers["content-security-policy"].startswith("default-src 'none'")
    assert app.state.service.store.counts() == {}


def test_schemas_limits_and_health_are_told(app):
    for path in ("/v1/schema", "/v1/schema/resolved", "/v1/schema/plan"):
        jsonschema.Draft202012Validator.check_schema(ask(app, "GET", path).json())
    assert ask(app, "GET", "/v1/limits").json() == limits_told(app.state.service.settings)
    assert ask(app, "GET", "/v1/health").json()["status"] == "ok"
    ready = ask(app, "GET", "/v1/ready").json()
    assert ready == {"status": "ready", "running": 0, "queued": 0, "kept": 0}


def test_every_example_of_the_description_posts_as_it_is(app):
    api = ask(app, "GET", "/v1/openapi.json").json()
    body = api["paths"]["/v1/plans"]["post"]["requestBody"]["content"]["application/json"]
    assert body["examples"] == ask(app, "GET", "/v1/examples").json()["scenarios"]
    for example in body["examples"].values():
        assert post(app, example["value"]).status_code == 200


def test_every_reference_of_the_description_leads_somewhere(app):
    api = ask(app, "GET", "/v1/openapi.json").json()
    references = []

    def collect(node):
        if isinstance(node, dict):
            references.extend([node["$ref"]] if isinstance(node.get("$ref"), str) else [])
            node = list(node.values())
        if isinstance(node, list):
            for one in node:
                collect(one)

    collect(api)
    assert references
    for reference in references:
        prefix, _, name = reference.rpartition("/")
        assert prefix == "#/components/schemas"
        assert name in api["components"]["schemas"]


def test_every_operation_of_the_application_is_described(app):
    api = ask(app, "GET", "/v1/openapi.json").json()
    served = {
        (method.lower(), route.path.replace(":path}", "}"))
        for route in app.routes
        for method in route.methods - {"HEAD"}
        if route.path not in ("/", "/v1/docs", "/v1/openapi.json")
    }
    described = {(method, path) for path, one in api["paths"].items() for method in one}
    assert described == served


def test_the_docs_page_fetches_nothing(app):
    page = ask(app, "GET", "/v1/docs")
    assert page.headers["content-type"] == "text/html; charset=utf-8"
    assert "POST /v1/plans" in page.text
    for word in ("src=", "<script", "<link", "url(", "@import", "http://", "https://"):
        assert word not in page.text
    front = ask(app, "GET", "/")
    assert front.headers["location"] == "/v1/docs"


class SlowPlanner:
    """A planner that works until it is released or nobody wants the plan any more."""

    def __init__(self):
        self.starts = 0
        self.release = threading.Event()
        self.running = 0
        self.most_running = 0
        self.quits = 0
        self._lock = threading.Lock()

    def __call__(self, scenario, *, should_quit, **how):
        with self._lock:
            self.running += 1
            self.starts += 1
            self.most_running = max(self.most_running, self.running)
        late = time.monotonic() + 10
        try:
            while not self.release.wait(0.01) and time.monotonic() < late:
                if should_quit():
                    self.quits += 1
                    raise QuitError
            return lid_plan()
        finally:
            with self._lock:
                self.running -= 1


async def _until(condition):
    for _ in range(500):
        if condition():
            return
        await asyncio.sleep(0.01)
    raise AssertionError("it never came to that")


def test_few_solve_at_a_time_few_wait_and_health_still_answers(make_app):
    planner = SlowPlanner()
    app = make_app(planner, settings={"most_queued": 4})
    service = app.state.service

    async def crowd():
        transport = httpx.ASGITransport(app=app)
        async with httpx.AsyncClient(transport=transport, base_url=HOME) as client:
            asked = [asyncio.create_task(client.post("/v1/plans", json=SCENARIO))]
            await _until(lambda: planner.running == 1)
            asked += [
                asyncio.create_task(client.post("/v1/plans", json=SCENARIO)) for _ in range(4)
            ]
            await _until(lambda: service.store.counts().get("queued") == 4)
            ready = (await client.get("/v1/ready")).json()
            refused = await client.post("/v1/plans", json=SCENARIO)
            planner.release.set()
            return ready, refused, await asyncio.gather(*asked)

    ready, refused, answers = asyncio.run(crowd())
    assert (ready["running"], ready["queued"]) == (1, 4)
    assert_problem(refused, 429, "queue-full")
    assert int(refused.headers["retry-after"]) > 0
    assert [answer.status_code for answer in answers] == [200] * 5
    assert planner.most_running == 1
    assert service.store.counts() == {}


async def _raw_post(app, left):
    """Post by hand and leave when ``left`` is set; give the messages that were sent."""
    body = json.dumps(SCENARIO).encode()
    sent, given = [], False

    async def receive():
        nonlocal given
        if not given:
            given = True
            return {"type": "http.request", "body": body, "more_body": False}
        await left.wait()
        return {"type": "http.disconnect"}

    async def send(message):
        sent.append(message)

    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "POST",
        "scheme": "http",
        "path": "/v1/plans",
        "raw_path": b"/v1/plans",
        "query_string": b"",
        "headers": [(b"host", b"127.0.0.1"), (b"content-type", b"application/json")],
        "client": ("127.0.0.1", 1),
        "server": ("127.0.0.1", 8765),
    }
    await app(scope, receive, send)
    return sent


def test_a_client_that_leaves_ends_the_solve_and_nothing_is_kept(make_app):
    planner = SlowPlanner()
    app = make_app(planner)

    async def leave():
        left = asyncio.Event()
        task = asyncio.create_task(_raw_post(app, left))
        await _until(lambda: planner.running == 1)
        left.set()
        await task
        await _until(lambda: planner.running == 0)

    asyncio.run(leave())
    assert planner.quits == 1
    assert app.state.service.store.counts() == {}


def test_a_client_that_leaves_the_queue_is_never_planned(make_app):
    planner = SlowPlanner()
    app = make_app(planner)
    counts = app.state.service.store.counts

    async def queue_and_leave():
        stays, leaves = asyncio.Event(), asyncio.Event()
        first = asyncio.create_task(_raw_post(app, stays))
        await _until(lambda: planner.running == 1)
        second = asyncio.create_task(_raw_post(app, leaves))
        await _until(lambda: counts().get("queued") == 1)
        leaves.set()
        await second
        planner.release.set()
        return await first

    sent = asyncio.run(queue_and_leave())
    assert sent[0]["status"] == 200
    assert planner.starts == 1
