"""The bed: every string where the stringer finds it, and never told by colour alone."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.report.bed import STROKES, bed_figure, bed_info, offsets
from tensionlog.report.look import ACCENT


def lines_of(view):
    return {line.name: line for line in bed_info(view).lines}


@given(st.integers(1, 24), st.integers(1, 26))
@settings(max_examples=30)
def test_every_string_of_a_pattern_has_its_place(make, mains, crosses):
    names = set(lines_of(make.view(found=(), job=make.job(mains=mains, crosses=crosses))))
    left, right = mains // 2, mains - mains // 2
    expected = {f"L{i}" for i in range(1, left + 1)} | {f"R{i}" for i in range(1, right + 1)}
    assert names == expected | {f"X{i}" for i in range(1, crosses + 1)}


@given(st.integers(1, 30))
def test_strings_lie_evenly_and_symmetrically(n):
    x = offsets(n)
    assert x == pytest.approx([-v for v in reversed(x)])
    assert max(map(abs, x)) < 0.93


def test_mains_count_from_the_centre_out(badminton):
    lines = lines_of(badminton)
    assert lines["L11"].ends[0] < lines["L1"].ends[0] < 0 < lines["R1"].ends[0]


def test_with_an_odd_number_the_extra_main_is_right(make):
    lines = lines_of(make.view(found=(), job=make.job(mains=5)))
    assert "R3" in lines
    assert "L3" not in lines
    assert lines["R1"].ends[0] == pytest.approx(0.0)


@pytest.mark.parametrize(("side", "sign"), [("top", 1), ("bottom", -1)])
def test_the_first_cross_lies_where_the_ticket_begins(make, side, sign):
    lines = lines_of(make.view(found=(), job=make.job(raw={"crosses_from": side})))
    assert sign * lines["X1"].ends[1] > 0 > sign * lines["X22"].ends[1]


def test_strings_end_on_the_head(badminton):
    for x0, y0, x1, y1 in (line.ends for line in bed_info(badminton).lines):
        assert math.hypot(x0, y0) == pytest.approx(1.0, abs=1e-9)
        assert math.hypot(x1, y1) == pytest.approx(1.0, abs=1e-9)


def test_the_drawn_head_has_the_tickets_shape(make):
    bed = bed_info(
        make.view(found=(), job=make.job(raw={"head_long_m": 0.3, "head_wide_m": 0.24}))
    )
    assert (bed.wide_by_long, bed.measured_shape) == (pytest.approx(0.8), True)
    bare = bed_info(make.view(found=(), job=make.job(raw={"head_long_m": "?"})))
    assert not bare.measured_shape


def test_a_string_shows_its_own_loss_and_separately_what_it_lost_held(badminton):
    lines = lines_of(badminton)
    assert lines["L5"].at_least == "≥ 0.8\u00a0mm"
    assert lines["L5"].state == "within"
    assert lines["L6"].at_least is None
    assert float(lines["L5"].text) == pytest.approx(5.7, abs=0.1)


def test_without_millimetres_the_held_loss_is_a_force(make):
    told = make.bare(2, "L2", held_position="L1", at_least_lost=7.0, seen=True)
    view = make.small(make.bare(1, "L1"), told)
    assert lines_of(view)["L1"].at_least == "≥ 7.0\u00a0N"


def test_a_string_without_a_pull_is_drawn_as_missing(make):
    lines = lines_of(make.small(make.bare(1, "L1"), make.bare(2, "R1", void=True)))
    assert (lines["L1"].state, lines["R1"].state) == ("within", "missing")


def test_without_a_calibration_evenness_stands_in_for_loss(make):
    lines = lines_of(make.uncalibrated())
    assert bed_info(make.uncalibrated()).shows == "evenness"
    # The builder's head gave R5 5.5 % less than it should.
    assert float(lines["R5"].text.replace("−", "-")) == pytest.approx(-5.5, abs=0.5)


def traces(view):
    return {trace.name: trace for trace in bed_figure(bed_info(view)).data}


def test_every_state_has_a_stroke_of_its_own_without_its_colour():
    drawn = {(s["width"], s.get("dash")) for s in STROKES.values()}
    assert len(drawn) == len(STROKES) - 1  # within and unjudged differ by their end marks
    assert [name for name, s in STROKES.items() if s["color"] == ACCENT] == ["look"]


def test_over_and_under_are_told_by_the_direction_of_a_triangle(badminton):
    marks = traces(badminton)["ends"]
    symbols = {
        hover.split("</b>")[0][3:]: symbol
        for hover, symbol in zip(marks.text, marks.marker.symbol, strict=True)
    }
    assert symbols["L9"] == "triangle-up"
    assert symbols["R5"] == symbols["X17"] == "triangle-down"
    assert symbols["L1"] == "circle"


def test_held_strings_carry_beads_and_a_label(badminton):
    figure = bed_figure(bed_info(badminton))
    beads = next(trace for trace in figure.data if trace.name == "held")
    assert beads.marker.symbol == "circle-open"
    assert set(beads.x) == {lines_of(badminton)[at].ends[0] for at in ("L5", "R3")}
    assert {a.text for a in figure.layout.annotations} >= {"≥ 0.8\u00a0mm", "≥ 0.4\u00a0mm"}


def test_every_string_is_named_at_one_end_and_numbered_at_the_other(badminton):
    texts = [a.text for a in bed_figure(bed_info(badminton)).layout.annotations]
    assert "<b>R5</b>" in texts
    assert "L1" in texts
    assert len(texts) == 2 * 44 + 2


def test_names_are_escaped_where_they_are_pointed_at(make):
    job = make.job(mains=2, crosses=0, sequence=("L1", "R1"))
    view = make.view(job=job, found=(make.bare(1, "L1", clamp_shut="<a>"),))
    assert "<a>" not in traces(replace(view))["ends"].text[0]
