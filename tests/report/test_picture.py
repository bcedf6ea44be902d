"""One pull as a picture: every word there, nothing loaded, no two labels on each other."""

import itertools
import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.cli import main
from tensionlog.errors import UsageError
from tensionlog.report.picture import BOTTOM, MOST_LETTERS, Frame, pull_picture
from tensionlog.report.svg import BETWEEN_LABELS, apart, ticks

RECORDINGS = Path(__file__).parents[2] / "recordings"
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
SVG = "{http://www.w3.org/2000/svg}"


def words(picture: str) -> list[str]:
    return [
        (text.text or "").replace("\xa0", " ") for text in parsed(picture).iter(f"{SVG}text")
    ]


def parsed(picture: str) -> ElementTree.Element:
    return ElementTree.fromstring(picture)


def paths(picture: str, kind: str) -> list[str]:
    found = parsed(picture).iter(f"{SVG}path")
    return [path.get("d", "") for path in found if (path.get("class") or "").split()[0] == kind]


def seen_pull(view):
    return next(f for f in view.pulls if f.pull.seen and not f.pull.void)


def test_levels_and_moments_are_named_with_their_numbers(badminton):
    found = seen_pull(badminton)
    said = words(pull_picture(badminton, found.pull.position))
    reading = f"{found.pull.release:.1f} N"

    for begins in ("target ", "expected ", f"settled top {found.pull.top:.1f} N"):
        assert any(line.startswith(begins) for line in said)
    assert f"reading {reading}" in said
    assert {f"clamp {found.pull.clamp_opened} opened", "head lets off"} <= set(said)
    assert said[0].startswith(f"{found.pull.position} (pull {found.number}): reading {reading}")


def test_the_string_behind_is_named_with_what_it_lost(badminton):
    found = seen_pull(badminton)
    said = words(pull_picture(badminton, found.pull.position))

    assert any(s.startswith(f"{found.pull.held_position} had lost at least") for s in said)


def test_nothing_is_loaded_and_dark_follows_the_readers_system(badminton):
    picture = pull_picture(badminton, "R1")

    assert re.findall(r"https?://[^\s\"<]+", picture) == ["http://www.w3.org/2000/svg"]
    assert not re.search(r"<script|<image|@import|url\((?!#frame\))", picture)
    assert "@media (prefers-color-scheme:dark)" in picture


def test_the_line_has_every_sample_and_breaks_where_one_is_missing(badminton):
    found = seen_pull(badminton)
    middle = len(found.trace.t_s) // 2
    kept = [i for i in range(len(found.trace.t_s)) if i != middle]
    trace = found.trace._replace(t_s=found.trace.t_s[kept], counts=found.trace.counts[kept])
    holed = replace(badminton, found=(replace(found, trace=trace),))
    whole = replace(badminton, found=(found,))

    (line,) = paths(pull_picture(whole, found.pull.position), "trace")
    (broken,) = paths(pull_picture(holed, found.pull.position), "trace")

    assert (line.count("M"), broken.count("M")) == (1, 2)
    assert broken.count("L") == line.count("L") - 2


def test_a_pull_without_a_step_says_so_and_has_no_settled_top(make):
    found = make.bare(1, seen=False, release_s=None, held_position="R1", drop=0.01)
    said = words(pull_picture(make.small(found), "1"))

    assert not any(line.startswith("settled top") for line in said)
    assert "No step is seen at the release: nothing is known against R1." in said


def test_flags_are_said_in_words_and_cut_where_they_would_leave_the_picture(make):
    found = make.bare(1, flags=("early-clamp", "not-measurable", "straightened"))
    said = words(pull_picture(make.small(found), "1"))[1]

    assert said.startswith("Clamp shut before the string had settled; ")
    assert said.endswith("…")
    assert len(said) <= MOST_LETTERS


def test_counts_have_no_target_and_keep_their_unit(make):
    found = make.bare(1, unit="counts", target=100.0, expected=99.0, release=95_000.0)
    said = words(pull_picture(make.small(found), "1"))

    assert not any(line.startswith(("target", "expected")) for line in said)
    assert any(line.startswith("reading") and line.endswith("counts") for line in said)


def test_whatever_a_header_says_cannot_end_the_picture(make):
    view = make.small(make.bare(1))
    header = replace(view.header, raw={"origin": "</svg><script>alert(1)</script>"})
    picture = pull_picture(replace(view, header=header), "1")

    assert "<script" not in picture
    assert parsed(picture).tag == f"{SVG}svg"


def test_a_position_is_the_pull_that_stands_and_a_number_is_any(badminton):
    void = next(f for f in badminton.pulls if f.pull.void)
    stands = pull_picture(badminton, void.pull.position.lower())

    assert f"(pull {void.number})" not in words(stands)[0]
    assert f"(pull {void.number})" in words(pull_picture(badminton, f"#{void.number}"))[0]


def test_a_pull_that_is_not_there_is_told_with_those_that_are(make):
    with pytest.raises(UsageError, match=r"no pull 'R9'\. Its pulls are L1\."):
        pull_picture(make.small(make.bare(1)), "R9")


@given(st.lists(st.floats(100.0, BOTTOM), max_size=5))
def test_labels_never_touch_and_keep_their_order(places):
    moved = apart(sorted(places), lowest=BOTTOM)

    gaps = [b - a for a, b in itertools.pairwise(moved)]
    assert all(gap >= BETWEEN_LABELS - 1e-9 for gap in gaps)
    assert all(place <= BOTTOM for place in moved)


@given(st.floats(-1e3, 1e6), st.floats(1e-2, 1e6))
def test_a_scale_has_a_few_round_numbers_inside_it(low, width):
    found = ticks(low, low + width)

    assert 1 <= len(found) <= 6
    assert all(low <= tick <= low + width for tick in found)


def test_a_frame_keeps_what_lies_beyond_it_at_its_edge():
    frame = Frame((0.0, 10.0), (90.0, 110.0))

    assert frame.y(0.0) == BOTTOM + 10.0
    assert frame.y(90.0) == BOTTOM
    assert frame.x(5.0) == pytest.approx((frame.x(0.0) + frame.x(10.0)) / 2)


def test_the_shipped_picture_is_what_the_command_makes_of_the_shipped_recording(tmp_path):
    """Words exactly; places to a tenth of a pixel, since another BLAS rounds otherwise."""
    db, drawn = tmp_path / "worn.db", tmp_path / "picture.svg"
    run = CliRunner().invoke
    run(main, ["replay", str(RECORDINGS / "worn-clamp-job.rec.gz"), "--db", str(db)])
    said = run(main, ["report", "--db", str(db), "--pull", "R5", "--svg", str(drawn)])

    made, shipped = (p.read_text("utf-8") for p in (drawn, RECORDINGS / "picture.svg"))
    assert said.output == f"Picture: {drawn}\n"
    assert NUMBER.sub("0", made) == NUMBER.sub("0", shipped)
    assert words(made) == words(shipped)
    numbers = [[float(n) for n in NUMBER.findall(svg)] for svg in (made, shipped)]
    assert numbers[0] == pytest.approx(numbers[1], abs=0.11)


@pytest.mark.parametrize("given_alone", [("--pull", "R5"), ("--svg", "a.svg")])
def test_which_pull_and_which_file_go_together(tmp_path, given_alone):
    ran = CliRunner().invoke(main, ["report", "--db", str(tmp_path / "a.db"), *given_alone])

    assert ran.exit_code == 2
    assert "go together" in ran.output
