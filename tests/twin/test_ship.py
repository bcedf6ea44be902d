"""The examples that are shipped: small, repeatable, and each with its truth."""

import gzip
import json
from pathlib import Path

import pytest

from tensionlog.twin.ship import EXAMPLES, truth_text, write_recordings

RECORDINGS = Path(__file__).parents[2] / "recordings"
SMALL_BYTES = 150_000


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with every example, written once."""
    folder = tmp_path_factory.mktemp("shipped")
    write_recordings(folder)
    return folder


def test_there_are_enough_of_them_and_they_are_small(folder: Path):
    sizes = {path.name: path.stat().st_size for path in folder.iterdir()}

    assert len(sizes) == 2 * len(EXAMPLES) >= 16
    assert max(sizes.values()) < SMALL_BYTES


def test_each_can_be_read_and_has_a_truth(folder: Path):
    for name in EXAMPLES:
        recording = gzip.decompress((folder / f"{name}.rec.gz").read_bytes())
        truth = json.loads((folder / f"{name}.truth.json").read_text(encoding="utf-8"))
        assert recording.startswith(b"# tensionlog-recording 1\n# {")
        assert truth["samples"] > 1000


def test_no_two_share_bench_and_start(folder: Path):
    """Recordings are told apart by the two."""
    heads = [
        json.loads(gzip.decompress((folder / f"{n}.rec.gz").read_bytes()).split(b"\n")[1][2:])
        for n in EXAMPLES
    ]

    assert len({(h["bench"], h["started"]) for h in heads}) == len(EXAMPLES)
    assert len({h["bench"] for h in heads}) == 3


def test_the_gzip_header_carries_no_time(folder: Path):
    assert {(folder / f"{n}.rec.gz").read_bytes()[4:8] for n in EXAMPLES} == {b"\0\0\0\0"}


def test_what_is_shipped_is_what_the_twin_plays(folder: Path):
    """Compared unpacked: another zlib may pack the same bytes otherwise."""
    for name in EXAMPLES:
        shipped, played = (where / f"{name}.rec.gz" for where in (RECORDINGS, folder))
        truth = f"{name}.truth.json"
        assert gzip.decompress(shipped.read_bytes()) == gzip.decompress(played.read_bytes())
        assert (RECORDINGS / truth).read_bytes() == (folder / truth).read_bytes()


def test_the_examples_show_what_their_names_say(folder: Path):
    truth = {n: json.loads((folder / f"{n}.truth.json").read_text()) for n in EXAMPLES}
    worn = [p["drop_n"] for p in truth["worn-clamp-job"]["pulls"] if p["clamp_opened"] == "B"]

    assert sum(drop > 1.0 for drop in worn if drop is not None) >= 5
    assert truth["dirty-line-job"]["damage"]["restarts"] == 1
    assert any(p["void"] for p in truth["mishaps-job"]["pulls"])
    assert truth["hold-test"]["hold"]["re_pull_s"] is not None
    assert len(truth["morning-check"]["head"]) == 2


def test_truth_is_rounded_where_nobody_reads_on():
    text = truth_text({"b": [0.123456789, {"c": (1.0, None)}], "a": "x"})

    assert json.loads(text) == {"a": "x", "b": [0.123457, {"c": [1.0, None]}]}
