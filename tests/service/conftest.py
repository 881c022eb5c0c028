import time

import pytest

from api.service.assembly import service_of
from api.service.settings import Settings
from tests.service.fake_runs import ENGINE, KINDS


@pytest.fixture
def settings(tmp_path):
    def make(**others):
        told = {"workers": 2, "niceness": 0, "deadline_patience": 0.2}
        return Settings(folder=tmp_path / "store", **(told | others))

    return make


@pytest.fixture
def make_service(settings):
    """A service that runs fake jobs in real children; closed at the end."""
    made = []

    def make(*, start=True, **others):
        service = service_of(ENGINE, settings(**others), kinds=KINDS)
        made.append(service)
        if start:
            service.start()
        return service

    yield make
    for service in made:
        if service.closed is False:
            service.close()


@pytest.fixture
def service(make_service):
    return make_service()


@pytest.fixture
def ask():
    """Ask a service for a fake job."""

    def ask(service, do="answer", key=None, **more):
        record, _ = service.add(service.ready({"kind": "fake", "do": do, **more}, key))
        return record

    return ask


@pytest.fixture
def until():
    """Wait for something, with a limit that only a failing test meets."""

    def until(condition, seconds=20.0):
        late = time.monotonic() + seconds
        while not (found := condition()):
            assert time.monotonic() < late, "it never came to that"
            time.sleep(0.005)
        return found

    return until


@pytest.fixture
def ended(until):
    """Wait until a job has ended, and return its record."""

    def ended(service, record):
        def has_ended():
            found = service.store.record(record.id)
            return found if found.ended else None

        return until(has_ended)

    return ended
