"""The page of a morning check: one file, no script, every word of the verdict."""

import re
from dataclasses import replace
from datetime import timedelta
from html.parser import HTMLParser

import numpy as np
import pytest

from tensionlog.check.drift import Series, watch
from tensionlog.check.head import HeadPull, analyse_head
from tensionlog.check.verdict import Tolerance
from tensionlog.report.check_page import check_page
from tensionlog.report.check_text import check_text, verdict_line
from tensionlog.report.check_view import Chart, ChartMark, CheckView
from tensionlog.report.control_figure import control_figure, outside
from tensionlog.report.error_figure import described, error_figure
from tensionlog.twin.played import FIRST_DAY

POINTS = [
    {"reference_N": 49.05, "reading_N": 50.1, "error_N": 0.05, "u_N": 0.02, "load": "5 kg",
     "direction": "up"},
    {"reference_N": 98.1, "reading_N": 99.2, "error_N": 0.48, "u_N": 0.03, "load": "10 kg",
     "direction": "down"},
]  # fmt: skip
CHECK = {
    "verdict": "adjust", "span_error_pct": 0.4, "u_span_error_pct": 0.02, "zero_N": 1.0,
    "points": POINTS, "repeatability_pct": None, "warnings": ["3 spikes left out"],
    "budget_pct": {"reading": 0.01}, "range_N": 98.1,
}  # fmt: skip


def chart(*, spoiled: bool = False) -> Chart:
    values = np.random.default_rng(2).normal(0.0, 0.02, 30)
    values[20:] += 0.5 if spoiled else 0.0
    series = Series(name="span", unit="%", day=list(range(30)), value=values, restarts=(10,))
    mark = ChartMark(at=FIRST_DAY + timedelta(days=9.5), what="adopted", kind="calibration")
    return Chart(began=FIRST_DAY, watched=watch(series), says="Span: steady.", marks=(mark,))


@pytest.fixture(scope="module")
def view() -> CheckView:
    pulls = [HeadPull(s, 0.98 * s, 0.95 * s) for s in (90.0, 120.0, 220.0)]
    head = analyse_head(pulls, u_cell_pct=0.02)
    return CheckView(
        bench="north <script>",
        at=FIRST_DAY,
        check=CHECK,
        head=head,
        head_pulls=({"set_N": 90.0, "peak_N": 88.2, "at_3s_N": None, "speed": "slow"},),
        holds=({"clamp": "A", "hand_off_loss_N": 2.1, "give_mm": 0.6, "u_give_mm": 0.2,
                "verdict": "good"},),
        tolerance=Tolerance(),
        charts=(chart(), chart(spoiled=True)),
        dial=head.dial_table(check_verdict="good", unit="lbf"),
        unit="lbf",
        calibration="north 2026-03-01",
    )  # fmt: skip


class Words(HTMLParser):
    """The visible text of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.text = ""

    def handle_data(self, data: str) -> None:
        self.text += f" {data}"


def words_of(page: str) -> str:
    reader = Words()
    reader.feed(page)
    return " ".join(reader.text.split())


def test_the_page_loads_nothing_and_has_no_script(view):
    page = check_page(view)

    assert "<script" not in page and "http://" not in page and "https://" not in page
    assert "script-src 'none'" in page
    assert "north &lt;script&gt;" in page
    assert len(page) < 60_000


def test_the_verdict_comes_first_in_one_line_and_then_the_table(view):
    said = words_of(check_page(view))

    assert said.index("ADJUST") < said.index("calibrate before the readings are relied on")
    assert "10 kg ◆ look down 98.100 99.200 +0.480 0.030 0.49" in said
    assert "5 kg up 49.050" in said
    assert "3 spikes left out" in said
    assert "conformity to neither is claimed" in said


def test_the_dial_table_hangs_on_a_page_of_its_own(view):
    page = check_page(view)

    rows = re.findall(r"<li><span>(\d+)</span><b>([\d.]+)</b>", page)
    assert [row[0] for row in rows] == [str(order) for order in range(18, 66)]
    assert float(rows[0][1]) == pytest.approx(18 / 0.98, abs=0.15)
    assert "newpage" in page and "break-before:page" in page


def test_without_advice_there_is_no_dial_table(view):
    assert "What to dial" not in check_page(replace(view, dial=()))


def test_a_check_without_a_verdict_says_why(view):
    check = {**CHECK, "verdict": None, "problem": "the check was broken off.", "points": []}

    said = words_of(check_page(replace(view, check=check, head=None, head_pulls=(), holds=())))

    assert "NO VERDICT The check was broken off." in said
    assert "Head and clamps" not in said


def test_the_drawing_marks_what_is_not_safely_within_by_shape_and_word():
    figure = error_figure(POINTS, Tolerance())

    assert figure is not None
    assert figure.count('class="bad"') == 2  # one cross of two strokes
    assert figure.count(">LOOK<") == 1
    assert "1 not safely within" in described(POINTS, Tolerance())
    assert error_figure([{"reference_N": 5.0, "error_N": None}], Tolerance()) is None


def test_every_limit_belongs_to_its_own_stretch_and_marks_are_drawn():
    drawn = control_figure(chart())

    assert drawn.count('class="edge"') == 4  # two limits of two stretches
    assert drawn.count('class="mark"') == 1 and ">C<" in drawn
    assert ">ALERT<" not in drawn


def test_an_alert_is_a_line_and_a_word():
    spoiled = chart(spoiled=True)

    assert spoiled.watched.is_alert
    assert ">ALERT<" in control_figure(spoiled)
    assert outside(spoiled)


def test_a_single_morning_can_be_drawn():
    series = Series(name="zero", unit="N", day=[0.0], value=[1.2])
    one = Chart(began=FIRST_DAY, watched=watch(series), says="Zero.")

    assert 'class="dot"' in control_figure(one)


@pytest.mark.parametrize(
    ("check", "said"),
    [
        ({"verdict": "good"}, "GOOD: every load within"),
        ({"verdict": "stop"}, "STOP: the cell is off"),
        ({"verdict": None, "problem": "no mass was named"}, "NO VERDICT: no mass was named"),
    ],
)
def test_todays_verdict_is_one_line(check, said):
    assert verdict_line(check).startswith(said)


def test_the_terminal_says_the_same_in_plain_lines():
    answer = {
        "check": CHECK,
        "head": [{"set_N": 90.0, "peak_N": None}],
        "holds": [{"clamp": "B", "hand_off_loss_N": None}],
        "turn": {"phi_rest": 0.5, "phi_tapped": None},
        "stiffness": {"EA_N": 5000.0, "u_EA_N": 100.0},
        "problems": ["a test was broken off"],
    }

    text = check_text(answer)

    assert "Cell: reads 0.400 % high ± 0.020 %; empty 1.00 N" in text
    assert "Head: dial 90 N pulls no reading" in text
    assert "Clamp B: no verdict, no reading" in text
    assert "0.50 passes at rest, unknown tapped" in text
    assert "EA 5000 ± 100 N" in text and "Note: a test was broken off" in text


def test_a_calibration_is_told_in_two_lines_and_has_no_verdict():
    made = {
        "name": "north 2026-03-02", "loads": 6, "runs": 3, "lower_limit_factor_N": 0.05,
        "interpolation_pct": 0.01, "fit": {"range_N": [49.0, 343.0], "coefficients": [0, 1]},
    }  # fmt: skip

    text = check_text({"check": {"verdict": None, "problem": "counts"}, "calibration": made})

    assert "6 loads, 3 runs, 49 to 343 N, a line" in text
    assert "NO VERDICT" not in text
