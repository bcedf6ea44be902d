"""`forget`: the name is nowhere any more, what was measured is, and copies are named."""

import gzip
import re

import pytest

from tensionlog.pipeline.replay import replay
from tensionlog.pipeline.verify import verify_recording
from tensionlog.sources.recording import open_recording
from tensionlog.twin import play_job

pytestmark = pytest.mark.long

OWNER = "Ada Example"
TINY = play_job(seed=5, sport="squash", mains=1, crosses=1, pace=0.0).recording


@pytest.fixture
def bench(run, tmp_path):
    """A bench that has strung Ada's racket, once plainly and once packed."""
    raw = re.sub(rb'"owner": "[^"]*"', b'"owner": "%b"' % OWNER.encode(), TINY)
    assert OWNER.encode() in raw
    raw += b'! {"at": "2026-03-02T10:00:00Z", "note": "remark", "text": "ada  example rang"}\n'
    (tmp_path / "r").mkdir()
    (tmp_path / "r" / "a.rec").write_bytes(raw)
    other = raw.replace(b'"started": "2026', b'"started": "2025', 1)
    (tmp_path / "r" / "b.rec.gz").write_bytes(gzip.compress(other))
    (tmp_path / "r" / "c.rec").write_bytes(
        TINY.replace(b'"started": "2026', b'"started": "2024', 1)
    )
    files = sorted((tmp_path / "r").iterdir())
    assert run("replay", *files, "--db", tmp_path / "a.db").code == 0
    return ("--folder", tmp_path / "r", "--db", tmp_path / "a.db")


def everything(tmp_path) -> bytes:
    files = [*sorted((tmp_path / "r").iterdir()), *sorted(tmp_path.glob("a.db*"))]
    return b"".join(
        gzip.decompress(p.read_bytes()) if p.suffix == ".gz" else p.read_bytes() for p in files
    ).lower()


def test_the_name_is_in_no_file_any_more_and_the_law_still_holds(run, bench, tmp_path):
    before = replay(tmp_path / "r" / "a.rec")
    ran = run("forget", "--owner", OWNER, *bench, "--yes", "--json")
    after = replay(tmp_path / "r" / "a.rec")

    assert ran.code == 0
    assert (ran.rows[0]["notes"], ran.rows[0]["stored"]) == (4, 2)
    for piece in (b"ada example", b"ada  example"):
        assert piece not in everything(tmp_path)
    assert [f.pull for f in after.found] == [f.pull for f in before.found]
    assert after.notes[-1].name == "erased"
    for path in sorted((tmp_path / "r").glob("*.rec*")):
        assert verify_recording(open_recording(path)).problems == ()
        assert run("verify", path, "--db", tmp_path / "a.db").code == 0


def test_a_rebuild_gives_the_same_database_afterwards(run, bench, tmp_path):
    run("forget", "--owner", OWNER, *bench, "--yes")
    rebuilt = run("rebuild", "--db", tmp_path / "a.db", tmp_path / "r", "--json")

    assert rebuilt.rows[0]["was_identical"] is True


def test_where_it_may_still_stand_is_said(run, bench, tmp_path):
    (tmp_path / "pulls.csv").write_text("Ada Example")
    run("backup", tmp_path / "b.zip", *bench)
    ran = run("forget", "--owner", OWNER, *bench, "--yes")

    assert f"May still hold it: {tmp_path / 'pulls.csv'}" in ran.out
    assert f"May still hold it: {tmp_path / 'b.zip'}" in ran.out


def test_nobody_is_asked_in_vain_and_a_no_changes_nothing(run, bench, tmp_path):
    before = everything(tmp_path)

    assert run("forget", "--owner", OWNER, *bench).code == 1  # nothing was typed: no
    assert everything(tmp_path) == before


@pytest.mark.parametrize("name", ["Nobody", "", "Ada Ex"])
def test_a_name_that_stands_nowhere_is_told(run, bench, name):
    ran = run("forget", "--owner", name, *bench, "--yes")

    assert ran.code == 2
