"""Requests drawn from the service's own description: every answer is as described, none a fault.

Some for each operation here; 200 for each, and the 250 ms of hostile bodies, by the command
`python -m tests.benchmarks.fuzz_http`.
"""

import pytest

from api.http.app import create_app
from tests.benchmarks.fuzz_http import Fuzz, fuzzed_service, hostile_bodies, listening, post

EXAMPLES = 6
OPERATIONS = 23


@pytest.fixture(scope="module")
def port(tmp_path_factory):
    folder = tmp_path_factory.mktemp("fuzz") / "store"
    with fuzzed_service(folder) as service, listening(create_app(service)) as port:
        yield service, port


@pytest.fixture(scope="module")
def fuzz(port):
    return Fuzz(*port)


def test_all_operations_are_drawn_from(fuzz):
    assert len(fuzz.operations()) == OPERATIONS


@pytest.mark.parametrize("number", range(OPERATIONS))
def test_every_answer_of_an_operation_is_as_described(fuzz, number):
    operation = fuzz.operations()[number]
    fuzz.run(operation, EXAMPLES, hostile=False)
    if operation.body or list(operation.iter_parameters()):
        fuzz.run(operation, EXAMPLES, hostile=True)
    assert sum(count for (label, _), count in fuzz.statuses.items() if label == operation.label)


def test_hostile_bodies_are_refused_without_an_echo(port):
    bodies = hostile_bodies()
    assert len(bodies) >= 40
    for name, body in bodies.items():
        status, size, _ = post(port[1], body)
        assert 400 <= status < 500, name
        assert size < 20_000, name
    service = port[0]
    assert service.trouble is None
