"""`doctor`: each link of the chain is looked at, nothing is changed unless it is asked for."""

import os
import time

import pytest

from tensionlog.cli import doctor as doctor_module
from tensionlog.store import Store
from tensionlog.twin.pty_link import served


@pytest.fixture
def places(tmp_path):
    return ("--folder", tmp_path / "r", "--db", tmp_path / "a.db")


@pytest.fixture
def bench(short_job, stored_once, tmp_path, places):
    (tmp_path / "r").mkdir()
    (tmp_path / "r" / "short.rec").write_bytes(short_job.recording)
    (tmp_path / "a.db").write_bytes(stored_once)
    return places


def levels(ran) -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for row in ran.rows:
        found.setdefault(row["what"], set()).add(row["level"])
    return found


def mends(ran) -> list[str]:
    return [row["mends"] for row in ran.rows if row["mends"]]


def test_a_bench_in_order_is_said_to_be(run, bench):
    ran = run("doctor", *bench, "--prove", "--json")

    assert ran.code == 0
    assert levels(ran) == {
        "folder": {"good"},
        "recordings": {"good"},
        "database": {"good"},
        "clock": {"good"},
        "port": {"look"},
    }


def test_nothing_is_changed_unless_it_is_asked_for(run, places, tmp_path):
    ran = run("doctor", *places)

    assert ran.code == 0
    assert "'tensionlog doctor --fix' would make the folder" in ran.err
    assert not (tmp_path / "r").exists()
    assert not (tmp_path / "a.db").exists()


def test_a_recording_that_the_database_lacks_is_told_and_stored(run, bench, tmp_path):
    (tmp_path / "a.db").unlink()
    ran = run("doctor", *bench, "--fix", "--yes", "--json")

    assert mends(ran) == ["store what the database lacks"]
    with Store(tmp_path / "a.db", must_exist=True) as store:
        assert len(store.recordings()) == 1
    assert mends(run("doctor", *bench, "--json")) == []


def test_d14_a_damaged_database_is_found_made_again_and_kept(run, bench, tmp_path):
    data = bytearray((tmp_path / "a.db").read_bytes())
    data[4096 : 4096 * 6] = os.urandom(4096 * 5)
    (tmp_path / "a.db").write_bytes(data)
    told = run("doctor", *bench, "--json")
    mended = run("doctor", *bench, "--fix", "--yes")

    assert (told.code, mended.code) == (1, 0)
    assert levels(told)["database"] == {"bad"}
    assert len(list(tmp_path.glob("a.db.before-*"))) >= 1
    assert levels(run("doctor", *bench, "--json"))["database"] == {"good"}


def test_a_no_leaves_all_as_it_is(run, bench, tmp_path):
    (tmp_path / "a.db").unlink()
    ran = run("doctor", *bench, "--fix")

    assert "Store what the database lacks?" in ran.err
    assert not (tmp_path / "a.db").exists()


def test_what_was_never_finished_is_told_and_removed(run, bench, tmp_path):
    (tmp_path / "r" / "x.rec.part").write_bytes(b"# tensionlog")
    ran = run("doctor", *bench, "--fix", "--yes", "--json")

    assert mends(ran) == ["remove files that were never finished"]
    assert not (tmp_path / "r" / "x.rec.part").exists()


def test_a_damaged_recording_is_bad_and_the_others_are_read(run, bench, tmp_path):
    (tmp_path / "r" / "bad.rec").write_bytes(b"\x00" * 500)
    ran = run("doctor", *bench, "--json")

    assert ran.code == 1
    assert levels(ran)["recordings"] == {"bad", "good"}


def test_a_clock_that_is_behind_its_own_recordings_is_bad(run, bench, tmp_path, short_job):
    (tmp_path / "r" / "later.rec").write_bytes(
        short_job.recording.replace(b'"started": "2026', b'"started": "2126', 1)
    )
    ran = run("doctor", *bench, "--json")

    assert levels(ran)["clock"] == {"bad"}


def test_s12_a_port_that_is_not_there_is_told_with_its_remedy(run, bench, tmp_path):
    ran = run("doctor", *bench, "--port", tmp_path / "ttyNONE", "--json")

    assert ran.code == 1
    assert "'tensionlog ports' lists what is there" in ran.rows[-1]["text"] or ran.rows[-2]


def test_a_folder_that_takes_no_file_is_bad(run, places, tmp_path):
    (tmp_path / "r").write_text("a file")
    ran = run("doctor", *places, "--json")

    assert levels(ran)["folder"] == {"bad"}


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are POSIX")
def test_the_device_is_asked_who_it_is_how_fast_and_how_noisy(run, bench, short_job):
    with served(lambda _hz: short_job.recording, clock=time.monotonic) as link:
        ran = run("doctor", *bench, "--port", link.path, "--seconds", 8, "--json")

    assert "device" in levels(ran)
    assert levels(ran)["device"] == {"good"}


def test_s10_s11_a_program_that_grabs_ports_is_named(run, bench, tmp_path, monkeypatch):
    monkeypatch.setattr(doctor_module, "_running", lambda: {"brltty", "ModemManager", "sh"})
    ran = run("doctor", *bench, "--port", tmp_path / "ttyNONE")

    assert "brltty takes the converters" in ran.out
    assert "ModemManager talks to new ports" in ran.out
