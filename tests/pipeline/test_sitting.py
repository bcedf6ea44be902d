"""A sitting as a whole: notes, buttons and pulls put on one clock and in their places."""

import json
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from tensionlog.errors import PlanError
from tensionlog.pipeline.replay import replay
from tensionlog.pipeline.sitting import RULE, Whole
from tensionlog.twin import Played, play_job
from tensionlog.twin.faults import restart, spoil
from tensionlog.wire import decode_line, encode


@pytest.fixture(scope="module")
def undone() -> Played:
    return play_job(
        seed=6, sport="squash", mains=4, crosses=0, mishaps={"L2": "undo"}, pace=0.2
    )


@pytest.fixture
def read(tmp_path: Path) -> Callable[[bytes], Whole]:
    def read_bytes(recording: bytes) -> Whole:
        path = tmp_path / "one.rec"
        path.write_bytes(recording)
        return replay(path)

    return read_bytes


def rows_of(played: Played) -> list[bytes]:
    return played.recording.split(b"\n")[:-1]


def note_at(rows: list[bytes], name: str) -> int:
    marks = [i for i, row in enumerate(rows) if row.startswith(b"! ")]
    return next(i for i in marks if json.loads(rows[i][2:])["note"] == name)


def places(whole: Whole) -> list[tuple[str | None, str | None, bool]]:
    return [(f.pull.position, f.pull.held_position, f.pull.void) for f in whole.found]


UNDONE = [
    ("L1", None, False),
    ("R1", "L1", False),
    ("L2", "L1", True),
    ("L2", "L2", False),
    ("R2", "R1", False),
]


def test_an_undone_pull_is_void_and_made_again(undone, read):
    assert places(read(undone.recording)) == UNDONE


@pytest.mark.parametrize("by_rows", [400, 10_000])
def test_a_note_acts_at_its_moment_however_late_it_was_written(undone, read, by_rows: int):
    rows = rows_of(undone)
    at = note_at(rows, "undo")
    note = rows.pop(at)
    rows.insert(min(len(rows), at + by_rows), note)

    assert places(read(b"\n".join([*rows, b""]))) == UNDONE


def test_the_order_in_the_file_breaks_ties(undone, read):
    """`undo` and `place` at one moment: the place that was written last holds."""
    rows = rows_of(undone)
    at = note_at(rows, "undo")
    stamp = json.loads(rows[at][2:])["at"]
    jump = json.dumps({"at": stamp, "note": "place", "position": "R2"}).encode()
    after = [*rows[: at + 1], b"! " + jump, *rows[at + 1 :], b""]
    before = [*rows[:at], b"! " + jump, *rows[at:], b""]

    assert places(read(b"\n".join(after)))[3][0] == "R2"
    assert places(read(b"\n".join(before)))[3][0] == "L2"


def test_a_button_on_the_device_is_a_note_by_itself(short_job, read):
    """Seed 5 presses `redo` on the device, or the test would compare nothing."""
    assert b",redo*" in short_job.recording
    assert [f.pull.void for f in read(short_job.recording).found] == [False, True, False, False]


def test_a_plan_goes_on_over_a_restart_of_the_device(undone, read):
    between = next(p["start_s"] - 1.5 for p in undone.truth["pulls"] if p["position"] == "R2")
    share = between * undone.truth["rate_hz"] / undone.truth["samples"]
    spoiled = spoil(undone, seed=1, kinds=[partial(restart, at_share=share, silence_s=0.5)])
    whole = read(spoiled.recording)

    assert whole.ledger.restarts == 1
    assert places(whole) == UNDONE
    assert [f.trace.boot for f in whole.found] == [0, 0, 0, 0, 1]
    last = whole.found[-1].pull.start_s
    assert last == pytest.approx(undone.truth["pulls"][-1]["start_s"], abs=0.25)


def test_a_pull_that_a_restart_cuts_is_interrupted_and_counted_once(undone, read):
    pull = next(p for p in undone.truth["pulls"] if p["position"] == "R2")
    inside = pull["top_s"] + 0.6
    share = inside * undone.truth["rate_hz"] / undone.truth["samples"]
    spoiled = spoil(undone, seed=1, kinds=[partial(restart, at_share=share, silence_s=1.0)])
    whole = read(spoiled.recording)

    assert places(whole) == UNDONE
    assert "interrupted" in whole.found[-1].pull.flags
    assert whole.found[-1].pull.let_off_s is None


def test_a_break_in_the_bed_begins_another_run_of_the_same_ref(read):
    played = play_job(
        seed=6, sport="squash", mains=4, crosses=0, mishaps={"R1": "broke"}, pace=0.2
    )
    whole = read(played.recording)

    assert [run.bed for run in whole.runs] == [1, 2]
    assert [run.broke for run in whole.runs] == ["R1", None]
    assert [f.bed for f in whole.found] == [1, 1, 2, 2, 2, 2]
    assert whole.runs[0].ended_s is None
    assert whole.runs[1].ended_s > whole.runs[1].started_s


def test_a_run_says_what_holds_for_the_whole_job(undone, read):
    whole = read(undone.recording)
    (run,) = whole.runs

    assert (run.phi_max, run.phi_measured) == (0.95, False)
    assert run.raw == whole.jobs[0].raw
    assert ("weave", "both sides checked") in run.inspections
    assert run.releases == sum(
        f.pull.held_position is not None and f.pull.drop is not None and not f.pull.void
        for f in whole.found
    )
    assert 0 <= run.could_show_1mm <= run.releases
    assert 0.005 < run.relaxation < 0.1


def test_a_frame_that_passes_more_shows_more(undone, tmp_path):
    path = tmp_path / "one.rec"
    path.write_bytes(undone.recording)

    def could_show(phi_max: float) -> int:
        return replay(path, phi_max=phi_max).runs[0].could_show_1mm

    assert could_show(0.3) == 0
    assert could_show(1.0) == replay(path).runs[0].releases


def test_traces_are_the_samples_of_their_pulls(undone, read):
    for found in read(undone.recording).found:
        t_s, pull = found.trace.t_s, found.pull
        assert t_s[0] == pytest.approx(pull.start_s - 1.0, abs=0.02)
        assert t_s[-1] >= pull.let_off_s
        assert np.all(np.diff(t_s) > 0.0)
        assert found.rule == RULE


def test_without_traces_the_numbers_are_the_same(undone, tmp_path):
    path = tmp_path / "one.rec"
    path.write_bytes(undone.recording)
    bare = replay(path, keep_traces=False)

    assert [f.pull for f in bare.found] == [f.pull for f in replay(path).found]
    assert all(len(f.trace.t_s) == 0 for f in bare.found)


def test_notes_alone_are_a_sitting(read, undone):
    header = [row for row in rows_of(undone) if row.startswith(b"# ")]
    note = b'! {"at": "2026-03-02T09:00:00.000000Z", "note": "service", "clamp": "A"}'
    whole = read(b"\n".join([*header, note, b""]))

    assert whole.found == ()
    assert [n.name for n in whole.notes] == ["service"]
    assert whole.ledger.samples == 0


def test_a_ticket_that_contradicts_itself_stops_the_reading_with_one_line(undone, read):
    assert b'"mains": 4' in undone.recording
    with pytest.raises(PlanError, match="mains = -4"):
        read(undone.recording.replace(b'"mains": 4', b'"mains": -4'))


@pytest.mark.parametrize("proto", [0, 2])
def test_another_version_of_the_wire_is_a_warning(undone, read, proto: int):
    rows = rows_of(undone)
    at = next(i for i, row in enumerate(rows) if row.startswith(b"H,"))
    rows[at] = encode(decode_line(rows[at])._replace(proto=proto)).rstrip(b"\n")
    warnings = read(b"\n".join([*rows, b""])).warnings

    assert any(
        f"version {proto} of the wire and this tensionlog version 1" in w for w in warnings
    )
    assert not any("of the wire" in warning for warning in read(undone.recording).warnings)
