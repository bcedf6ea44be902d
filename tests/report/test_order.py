"""Loss in the order pulled."""

from dataclasses import replace

import pytest

from tensionlog.report.look import ACCENT, INK
from tensionlog.report.order import order_figure, order_info


def test_every_pull_with_a_loss_is_a_dot_void_ones_too(badminton):
    order = order_info(badminton)
    assert len(order.dots) == len(badminton.pulls) == 45
    assert [dot.name for dot in order.dots if dot.state == "void"] == ["R5"]


def test_pulls_without_a_reading_leave_their_place_empty(make):
    view = make.small(make.bare(1), make.bare(2, "R1", release=None), make.bare(3, "L2"))
    assert [dot.nth for dot in order_info(view).dots] == [1, 3]


def test_levels_are_the_means_of_mains_and_crosses_in_the_readers_unit(badminton):
    in_n, in_lbf = (
        order_info(badminton).levels,
        order_info(replace(badminton, unit="lbf")).levels,
    )
    assert [level.text for level in in_n] == ["mean of mains 6.02", "mean of crosses 6.91"]
    for n, lbf in zip(in_n, in_lbf, strict=True):
        assert n.height / lbf.height == pytest.approx(4.4482216152605)


def test_a_pull_to_look_at_is_larger_named_and_accented(badminton):
    pulls = next(t for t in order_figure(order_info(badminton)).data if t.name == "pulls")
    named = [i for i, text in enumerate(pulls.text) if text]
    assert [pulls.text[i] for i in named] == ["<b>R5</b>", "<b>X12</b>"]
    assert {pulls.marker.size[i] for i in named} == {15}
    assert {pulls.marker.color[i] for i in named} == {ACCENT}
    assert pulls.marker.color[0] == INK


def test_left_right_and_cross_differ_by_shape(badminton):
    pulls = next(t for t in order_figure(order_info(badminton)).data if t.name == "pulls")
    assert set(pulls.marker.symbol) == {"triangle-left", "triangle-right", "square"}


def test_the_axis_says_what_and_in_which_unit(make, badminton):
    assert order_figure(order_info(badminton)).layout.yaxis.title.text == "loss (N)"
    assert order_info(make.uncalibrated()).axis == "reading (counts)"


def test_void_pulls_are_crossed_and_say_redone(badminton):
    void = next(t for t in order_figure(order_info(badminton)).data if t.name == "redone")
    assert list(void.text) == ["R5 redone"]
    assert void.marker.symbol == "x-thin"


def test_no_dots_still_have_a_range(make):
    low, high = order_info(make.view(found=())).y_range
    assert low < high


def test_bars_are_the_pulls_own_and_leave_out_what_all_share(make):
    view = make.small(make.bare(1, release_u=0.03), u_calibration_pct=5.0)
    (dot,) = order_info(view).dots
    assert dot.u == pytest.approx(0.03)
