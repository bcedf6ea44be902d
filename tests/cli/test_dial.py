"""`dial`, and the dial on a ticket."""

from datetime import UTC, datetime, timedelta

import pytest

from tensionlog.cli.dialled import dialled
from tensionlog.errors import UsageError
from tensionlog.model.recording import Header
from tensionlog.settings import BenchSettings
from tensionlog.store import Store

TICKET = {"target_mains_N": 120.0, "target_crosses_N": 110.0}


@pytest.fixture
def head_db(tmp_path):
    path = tmp_path / "a.db"
    with Store(path) as store:
        started = datetime.now(UTC) - timedelta(seconds=2)
        number = store.begin(Header(bench="north", purpose="check", started=started), name="x")
        store.add_answer(number, "check", {"verdict": "good", "u_span_error_pct": 0.02})
        pulls = [{"set_N": s, "peak_N": 0.97 * s, "at_3s_N": s} for s in (90.0, 120.0, 220.0)]
        store.add_answer(number, "head", pulls)
    return path


def test_the_table_has_a_line_for_every_pound(run, head_db):
    run("bench", "set", "--name", "north", "--database", head_db)

    lines = run("dial").out.splitlines()

    assert len(lines) == 1 + 48 + 1
    assert lines[1].split()[:2] == ["18.0", "18.6"]
    table = run("dial", "--unit", "kgf", "--json").rows[0]["table"]
    assert len(table) == 44 and not table[0]["capped"]


def test_without_a_good_check_today_there_is_no_table(run, head_db):
    run("bench", "set", "--name", "south", "--database", head_db)

    assert "tensionlog check --part head" in run("dial").error


def test_what_is_advised_is_said_and_what_is_dialled_is_written(head_db, capsys):
    settings = BenchSettings(bench="north", unit="N")

    assert dialled(TICKET, None, settings, head_db) == TICKET
    assert "mains: for 120.0 N dial 123.8 N" in capsys.readouterr().err
    assert dialled(TICKET, "advised", settings, head_db)["dial_N"] == pytest.approx(
        123.7, abs=0.1
    )
    typed = dialled(TICKET, "27/25 lb", settings, head_db)
    assert (typed["dial_N"], typed["dial_crosses_N"]) == (120.102, 111.206)


def test_advice_that_is_not_there_cannot_be_dialled(tmp_path):
    with pytest.raises(UsageError, match="Make the morning check"):
        dialled(TICKET, "advised", BenchSettings(), tmp_path / "none.db")
