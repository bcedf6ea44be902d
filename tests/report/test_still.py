"""Charts without a script: what is drawn, and that no more is drawn than can be seen."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.report.markup import Markup, tag
from tensionlog.report.still import (
    DAY_S,
    SAME_PLACE,
    Frame,
    band,
    date_ticks,
    dots,
    ground,
    run,
    still_page,
    thinned,
    twice,
)

JAN_S = 1767225600.0  # 2026-01-01
points = st.lists(st.tuples(st.floats(0, 700), st.floats(0, 200)), max_size=60)


@given(points)
def test_thinning_keeps_every_extreme_and_invents_nothing(places):
    kept = thinned(places)

    assert set(kept) <= set(places)
    assert len(kept) <= 2 * (700 / SAME_PLACE + 1)
    if places:
        assert min(y for _, y in kept) == min(y for _, y in places)
        assert max(y for _, y in kept) == max(y for _, y in places)


@pytest.mark.parametrize(
    ("days", "most", "said"),
    [
        (6, 9, ["2 Jan", "3 Jan", "4 Jan", "5 Jan", "6 Jan", "7 Jan"]),
        (60, 5, ["2 Jan", "14 Jan", "26 Jan", "7 Feb", "19 Feb"]),
        (120, 9, ["Feb", "Mar", "Apr", "May"]),
        (364, 4, ["Apr", "Jul", "Oct"]),
        (3650, 4, ["2028", "2030", "2032", "2034"]),
    ],
)
def test_dates_are_first_days_that_have_room(days, most, said):
    found = date_ticks(JAN_S + 3600.0, JAN_S + days * DAY_S + 3600.0, most=most)

    assert [text for _, text in found] == said
    assert len(found) <= most


def test_a_line_breaks_where_nothing_is_known():
    assert 'd="M0.0 1.0L1.0 2.0M3.0 4.0"' in run(
        [(0.0, 1.0), (1.0, 2.0), (2.0, None), (3.0, 4.0)], "now"
    )
    assert 'd=""' in band([(0.0, None, 1.0)], "range")
    assert band([(0.0, 1.0, 2.0), (5.0, 1.0, 2.0)], "range").count("L") == 3
    assert 'd="M1.0 2.0h0"' in dots([(1.0, 2.0)], "dots")


def test_a_chart_is_drawn_for_both_widths_and_described_once_each():
    drawn = twice(lambda wide: [tag("text", f"{wide:g}")], described="all <of> it")

    assert drawn.count("<svg") == drawn.count('aria-label="all &lt;of&gt; it"') == 2
    assert 'class="wide"' in drawn and 'class="narrow"' in drawn


def test_the_last_label_stays_inside_the_picture():
    frame = Frame(wide=760.0, x_from=0.0, x_to=10.0, y_from=-1.0, y_to=1.0)
    drawn = list(ground(frame, y_label="mm", x_ticks=[(5.0, "half"), (10.0, "end")]))

    assert any('class="end"' in piece and ">end<" in piece for piece in drawn)
    assert any(">−1<" in piece or ">−0.5<" in piece for piece in drawn)
    assert frame.y(-1.0) == frame.bottom
    assert frame.x(10.0) == frame.right


def test_the_page_loads_nothing_and_runs_nothing():
    page = still_page([Markup("<p>x</p>")], title="a < b")

    assert "<script" not in page
    assert "script-src" not in page
    assert "default-src 'none'" in page
    assert "<title>a &lt; b</title>" in page
    assert "http" not in page.split("</head>")[0].replace("http-equiv", "")
