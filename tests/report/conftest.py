from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from brakebeat.simulate import default_recording
from brakebeat.store import Store, open_store
from brakebeat.store.computing import import_recording

FIRST = datetime(2026, 9, 7, 18, tzinfo=UTC)


@pytest.fixture
def store(tmp_path: Path) -> Store:
    with open_store(tmp_path / "log.brakebeat") as opened:
        yield opened


@pytest.fixture(scope="module")
def trained(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """One session of one simulated set with its raw edges: Mara Quill, squat."""
    recording, _ = default_recording(41, reps=5, late=(3,))
    with open_store(tmp_path_factory.mktemp("trained") / "log.brakebeat") as opened:
        import_recording(opened, recording, athlete="Mara Quill", exercise="squat", started=FIRST)
        yield opened


def week(number: int) -> datetime:
    return FIRST + timedelta(weeks=number)
