"""Every pull as recorded: nothing filled in, nothing lost to thinning, all in its place."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.model.pull import Trace
from tensionlog.report.trace_figure import trace_figure
from tensionlog.report.traces import MOST_POINTS, traces_info


def only(view):
    (trace,) = traces_info(view)
    return trace


def view_of(make, t_s, counts, *, header=None, **changes):
    found = make.bare(1, start_s=0.0, top_s=1.0, release_s=2.0, let_off_s=3.0, **changes)
    found = replace(found, trace=Trace(boot=0, t_s=np.array(t_s), counts=np.array(counts)))
    view = make.small(found)
    return view if header is None else replace(view, header=header(view.header))


EVEN = np.arange(-0.4, 3.5, 0.0125)


def test_a_trace_is_in_newtons_above_its_own_idle(make):
    counts = 84211.0 + 9120.0 * np.where(EVEN > 0, 100.0, 3.0)
    trace = only(view_of(make, EVEN, counts, idle=3.0))
    assert trace.y[0] == pytest.approx(0.0, abs=1e-3)
    assert trace.y[-1] == pytest.approx(97.0, abs=1e-3)
    assert trace.y.dtype == np.float32


def test_the_readers_unit_reaches_the_trace(make):
    view = view_of(make, EVEN, 84211.0 + 9120.0 * np.full(EVEN.size, 44.482216152605))
    assert only(replace(view, unit="lbf")).y == pytest.approx(10.0, abs=1e-4)


def test_counts_stay_counts_above_the_first_level(make):
    view = view_of(make, EVEN, np.where(EVEN > 0, 5000.0, 1000.0), unit="counts", idle=None)
    trace = only(view)
    assert (trace.unit, trace.y[0], trace.y[-1]) == ("counts", 0.0, 4000.0)
    assert trace.target is None


def test_plain_lines_bring_their_own_unit(make):
    def plain(header):
        return replace(header, calibration=None, pattern="(?P<value>.*)", unit="kgf")

    trace = only(view_of(make, EVEN, np.full(EVEN.size, 10.0), header=plain, idle=0.0))
    assert trace.y == pytest.approx(98.0665, abs=1e-4)


def test_an_even_trace_is_kept_as_start_and_spacing(make):
    trace = only(view_of(make, EVEN, np.full(EVEN.size, 84211.0)))
    assert trace.x_s is None
    assert trace.dx_s == pytest.approx(0.0125)
    assert trace.y.size == EVEN.size


@given(st.sets(st.integers(5, 250), min_size=1, max_size=40))
@settings(max_examples=30)
def test_missing_samples_break_the_line_and_are_never_filled_in(make, lost):
    keep = np.array([i for i in range(EVEN.size) if i not in lost])
    counts = 84211.0 + 9120.0 * np.arange(EVEN.size)
    trace = only(view_of(make, EVEN[keep], counts[keep], idle=0.0))
    assert set(np.flatnonzero(np.isnan(trace.y))) == lost
    assert trace.y[keep] == pytest.approx(keep, rel=1e-5, abs=1e-2)


def test_uneven_times_are_kept_as_they_are(make):
    t_s = np.sort(np.random.default_rng(3).uniform(-0.4, 3.4, 200))
    trace = only(view_of(make, t_s, np.full(200, 84211.0)))
    assert trace.dx_s is None
    assert trace.x_s == pytest.approx(t_s, abs=1e-6)


@given(st.integers(MOST_POINTS + 1, 9000), st.integers(0, 2**31))
@settings(max_examples=30)
def test_thinning_keeps_the_highest_and_the_lowest_and_says_so(make, n, seed):
    rng = np.random.default_rng(seed)
    force = rng.normal(100.0, 1.0, n)
    t_s = np.linspace(-0.3, 3.3, n)
    trace = only(view_of(make, t_s, 84211.0 + 9120.0 * force, idle=0.0))
    assert trace.thinned_from == n
    assert np.count_nonzero(~np.isnan(trace.y)) <= MOST_POINTS + 10
    assert np.nanmax(trace.y) == pytest.approx(force.max(), abs=1e-3)
    assert np.nanmin(trace.y) == pytest.approx(force.min(), abs=1e-3)


def test_a_short_trace_is_drawn_whole(make):
    assert only(view_of(make, EVEN, np.full(EVEN.size, 84211.0))).thinned_from is None


def test_a_later_boot_is_placed_by_its_own_start(make):
    view = view_of(make, EVEN + 1.0 - 50.0, np.full(EVEN.size, 84211.0))
    (found,) = view.found
    found = replace(found, trace=found.trace._replace(boot=1))
    placed = only(replace(view, found=(found,), boot_starts_s=(0.0, 49.0)))
    assert placed.x0_s == pytest.approx(-0.4)
    unplaced = only(replace(view, found=(found,)))
    assert unplaced.x0_s == 0.0


def test_a_seen_release_has_both_its_levels_marked_at_one_moment(make):
    step = {"drop": 4.0, "seen": True, "top": 106.0, "release": 102.0}
    top, release, let_off = only(view_of(make, EVEN, np.full(EVEN.size, 1e6), **step)).marks
    assert (top.word, top.x_s, top.y) == ("settled top", 2.0, 106.0)
    assert (release.word, release.x_s, release.y) == ("release", 2.0, 102.0)
    assert (let_off.word, let_off.x_s) == ("let-off", 3.0)
    assert len({top.symbol, release.symbol, let_off.symbol}) == 3


def test_an_unseen_release_is_one_open_mark(make):
    view = view_of(make, EVEN, np.full(EVEN.size, 84211.0))
    found = replace(view.found[0], pull=replace(view.found[0].pull, release_s=None))
    first, _ = only(replace(view, found=(found,))).marks
    assert (first.word, first.symbol) == ("settled, no step seen", "diamond-open")


def test_the_let_off_is_marked_at_the_last_sample_before_it(make):
    counts = 84211.0 + 9120.0 * np.where(EVEN <= 3.0, 100.0, 0.0)
    assert only(view_of(make, EVEN, counts, idle=0.0)).marks[-1].y == pytest.approx(100.0)


def test_all_levels_and_marks_lie_inside_the_frame(badminton):
    for trace in traces_info(badminton):
        low, high = trace.y_range
        levels = [trace.target, trace.expected, *(mark.y for mark in trace.marks)]
        assert all(low < level < high for level in levels)
        assert all(trace.x_range[0] < mark.x_s < trace.x_range[1] for mark in trace.marks)


def test_a_pull_without_samples_or_moments_can_still_be_drawn(make):
    bare = make.bare(1, top_s=None, release_s=None, let_off_s=None, top=None, release=None)
    trace = only(make.small(bare))
    assert trace.marks == ()
    assert trace_figure(trace).data[0].y.size == 0


def test_void_pulls_are_drawn_dotted(badminton):
    dashes = {t.state: trace_figure(t).data[0].line.dash for t in traces_info(badminton)}
    assert dashes["void"] == "2px,2px"
    assert dashes["within"] == "solid"


def test_the_figure_draws_what_the_info_holds(badminton):
    trace = traces_info(badminton)[0]
    curve, marks, levels = trace_figure(trace).data
    assert curve.y is not None
    assert (curve.x0, curve.dx) == (trace.x0_s, trace.dx_s)
    assert not curve.connectgaps
    assert list(marks.text) == [mark.text for mark in trace.marks]
    assert list(levels.text) == ["target", "expected"]
    assert [s.y0 for s in trace_figure(trace).layout.shapes] == [trace.target, trace.expected]
