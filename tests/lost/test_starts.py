"""A converter that has just started reads half-way values; nothing is made of them."""

from functools import partial

import pytest

from tensionlog.model.lines import Sample
from tensionlog.pipeline.replay import replay
from tensionlog.twin import play_job
from tensionlog.twin.faults import restart, spoil
from tensionlog.wire import decode_line, encode

SETTLES_S = 0.5
"""Four conversions at 80/s are 0.05 s (a converter's data sheet, from memory); ten times that
leaves room for those at 10/s."""


@pytest.fixture(scope="module")
def started():
    """A job in which the device starts again in mid-pull, while the head still holds."""
    played = play_job(seed=6, sport="squash", mains=4, crosses=0, pace=0.2)
    pull = next(p for p in played.truth["pulls"] if p["position"] == "R2")
    share = (pull["top_s"] + 0.6) * played.truth["rate_hz"] / played.truth["samples"]
    return spoil(
        played, seed=1, kinds=[partial(restart, at_share=share, silence_s=0.2)]
    ).recording


def unsettled(recording: bytes) -> tuple[bytes, int]:
    """The same with the first half second after each start on its way up from nothing."""
    rows, before_us, began_us, starts = [], None, 0, 0
    for row in recording.split(b"\n"):
        said = decode_line(row) if row.startswith(b"S,") else None
        if isinstance(said, Sample):
            if before_us is None or said.t_us < before_us:
                began_us, starts = said.t_us, starts + 1
            before_us = said.t_us
            age_s = (said.t_us - began_us) / 1e6
            if age_s < SETTLES_S:
                half = round(said.counts * (0.5 + 0.5 * age_s / SETTLES_S))
                row = encode(said._replace(counts=half)).rstrip(b"\n")
        rows.append(row)
    return b"\n".join(rows), starts


def test_a9_no_result_hangs_on_the_first_half_second_after_a_start(started, tmp_path):
    half_way, starts = unsettled(started)
    read = []
    for name, recording in (("as-it-was", started), ("half-way", half_way)):
        (tmp_path / f"{name}.rec").write_bytes(recording)
        read.append(replay(tmp_path / f"{name}.rec").found)

    assert starts == 2
    assert half_way != started
    assert [f.pull.position for f in read[1]] == [f.pull.position for f in read[0]]
    assert "interrupted" in read[1][-1].pull.flags
    for name in ("peak", "top", "release", "start_s"):
        of = [[getattr(f.pull, name) for f in found] for found in read]
        assert of[1] == [None if x is None else pytest.approx(x, abs=0.02) for x in of[0]]
