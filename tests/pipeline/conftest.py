"""A short job on the twin, shared by the tests of the pipeline."""

from pathlib import Path

import pytest

from tensionlog.twin import Played, play_job


@pytest.fixture(scope="session")
def short_job() -> Played:
    """Three strings, one of them made again; what the line does is perfect."""
    return play_job(
        seed=5, sport="squash", mains=2, crosses=1, mishaps={"R1": "redo"}, pace=0.3
    )


@pytest.fixture
def short_path(short_job: Played, tmp_path: Path) -> Path:
    """The short job as a file."""
    path = tmp_path / "short.rec"
    path.write_bytes(short_job.recording)
    return path
