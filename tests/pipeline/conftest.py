"""A short job on the twin and invented histories, shared by the tests of the pipeline."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from tensionlog.model.history import Happened
from tensionlog.model.recording import Header
from tensionlog.model.sitting import Ledger
from tensionlog.pipeline.watch import keep_watch
from tensionlog.store import Store
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


DAY_ONE = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)
"""Morning of the first day of the invented histories."""

WORN_DAYS = 18


class Days:
    """Stores the sittings of an invented bench, what happened straight into the database."""

    def __init__(self, store: Store, *, seed: int = 1, bench: str = "north") -> None:
        self.store, self.bench = store, bench
        self.rng = np.random.default_rng(seed)

    def sitting(self, day, minute=0, *happened) -> int:
        """One sitting and what it says: (kind, body) pairs, half a minute apart."""
        began = DAY_ONE + timedelta(days=day, minutes=minute)
        header = Header(bench=self.bench, purpose="check", started=began, raw={})
        at_s = began.timestamp() + 1.0
        with self.store.transaction():
            number = self.store.begin(header, name=f"{day}-{minute}.rec", digest=None)
            made = [
                Happened(kind, at_s + 30.0 * place, body)
                for place, (kind, body) in enumerate(happened)
            ]
            self.store.history.add(number, made)
            self.store.finish(number, Ledger(samples=1))
        return number

    def hold(self, day, clamp, give_mm, *, minute=5, target_n=120.0, relaxation_pct=4.0):
        """One hold test, its answer with it."""
        verdict = "good" if give_mm < 1.0 else "watch" if give_mm < 1.8 else "service"
        body = {"clamp": clamp, "target_n": target_n, "give_mm": give_mm, "verdict": verdict}
        body |= {"relaxation_pct": relaxation_pct, "reasons": []}
        number = self.sitting(day, minute, ("tested", body))
        at = (DAY_ONE + timedelta(days=day, minutes=minute)).isoformat()
        answer = {"clamp": clamp, "at": at, "give_mm": give_mm, "u_give_mm": 0.05}
        self.store.add_answer(number, "hold", answer | {"hand_off_loss_N": 10.0 * give_mm})

    def morning(self, day, *, give=(0.9, 0.9), span=0.0, calibration="old") -> None:
        """A check with its head pulls, then a hold test of each clamp."""
        noise = self.rng.normal(size=6)
        checked = {"zero_n": 0.1 + 0.04 * noise[0], "span_pct": 0.05 + span + 0.02 * noise[1]}
        checked |= {"loads_pct": {}, "verdict": "good", "calibration": calibration}
        dialled = {"head_pct": 0.5 + span + 0.2 * noise[2]}
        self.sitting(day, 0, ("checked", checked), ("dialled", dialled))
        for place, mm in enumerate(give):
            scattered = mm + 0.08 * noise[3 + place]
            relaxation = 4.0 + 0.1 * noise[5]
            self.hold(day, "AB"[place], scattered, minute=5 + place, relaxation_pct=relaxation)

    def worn(self, days=WORN_DAYS, *, begins=11) -> None:
        """Clamp B gives half a millimetre more from a day on."""
        for day in range(days):
            self.morning(day, give=(0.9, 0.9 if day < begins else 1.4))

    def service(self, day, clamp="B", what="cleaned", minute=60) -> None:
        """A sitting that tells of a service alone."""
        self.sitting(day, minute, ("served", {"clamp": clamp, "what": what}))


@pytest.fixture
def store():
    with Store.memory() as store:
        yield store


@pytest.fixture
def days(store) -> Days:
    return Days(store)


@pytest.fixture(scope="session")
def worn_bytes(tmp_path_factory) -> bytes:
    """A database of eighteen days in which clamp B began to slip on the twelfth."""
    path = tmp_path_factory.mktemp("worn") / "a.db"
    with Store(path) as store:
        Days(store).worn()
        keep_watch(store)
    return path.read_bytes()


@pytest.fixture
def worn(worn_bytes, tmp_path):
    """The same, looked at by the watch, for more days to come; first free day 18."""
    path = tmp_path / "a.db"
    path.write_bytes(worn_bytes)
    with Store(path) as store:
        yield Days(store, seed=9)
