"""`alerts`: listed, seen, acted on, each in a recording of its own."""

from datetime import timedelta

import numpy as np
import pytest

from tensionlog.model.history import Happened
from tensionlog.model.recording import Header
from tensionlog.model.sitting import Ledger
from tensionlog.pipeline.rebuild import recordings_in
from tensionlog.pipeline.watch import keep_watch
from tensionlog.store import Store
from tensionlog.twin.played import FIRST_DAY


def held(day, give_mm):
    body = {"clamp": "B", "target_n": 120.0, "give_mm": give_mm, "verdict": "good"}
    at = FIRST_DAY + timedelta(days=day)
    return at, Happened("tested", at.timestamp() + 1.0, body)


@pytest.fixture(scope="module")
def worn_bytes(tmp_path_factory):
    """A bench of clamp B alone, which gives half a millimetre more from the tenth day."""
    path, rng = tmp_path_factory.mktemp("worn") / "a.db", np.random.default_rng(1)
    with Store(path) as store:
        for day in range(16):
            at, happened = held(day, 0.9 + 0.5 * (day >= 10) + 0.05 * rng.normal())
            header = Header(bench="north", purpose="hold", started=at, raw={})
            number = store.begin(header, name=f"{day}.rec", digest=None)
            store.history.add(number, [happened])
            store.finish(number, Ledger(samples=1))
        keep_watch(store)
    return path.read_bytes()


@pytest.fixture
def worn_db(worn_bytes, tmp_path):
    path = tmp_path / "worn.db"
    path.write_bytes(worn_bytes)
    return path


def states(run, db):
    return [row["state"] for row in run("alerts", "--db", db, "--all", "--json").rows]


def test_open_alerts_with_their_names_and_what_to_do(run, worn_db):
    ran = run("alerts", "--db", worn_db)

    assert ran.out.startswith("NEW: Clamp B gives")
    assert "  do:   Clean the jaws of clamp B" in ran.out
    assert "  name: 2026-03-1" in ran.out


def test_seen_then_acted_each_in_a_recording(run, worn_db, tmp_path):
    (alert,) = run("alerts", "--db", worn_db, "--json").rows
    ran = run("alerts", "--db", worn_db, "seen", alert["alert"], "--folder", tmp_path / "r")
    assert ran.code == 0, ran.err
    assert states(run, worn_db) == ["seen"]

    told = ("acted", "--all", "--what", "set the pressure", "--folder", tmp_path / "r")
    assert run("alerts", "--db", worn_db, *told).code == 0
    assert states(run, worn_db) == ["acted"]
    texts = [path.read_text() for path in recordings_in([tmp_path / "r"])]
    assert sorted('"what": "set the pressure"' in text for text in texts) == [False, True]
    assert all('"bench": "north"' in text for text in texts)


def test_no_alert_is_said(run, db):
    assert run("alerts", "--db", db).out == "no open alerts.\n"
    assert run("alerts", "--db", db, "--all").out == "no alerts.\n"


@pytest.mark.parametrize(
    ("asked", "said"),
    [(("seen", "x"), "there is no alert 'x'"), (("acted",), "which alert?")],
)
def test_which_alert_must_be_clear(run, worn_db, asked, said):
    assert said in run("alerts", "--db", worn_db, *asked).err


def test_nobody_to_tell_is_said(run):
    assert "bench alerts --notify" in run("alerts", "tell").err
