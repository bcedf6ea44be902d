"""The page of a morning check: one file that loads nothing and needs no script."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from tensionlog.check.head import Advice
from tensionlog.report.check_measures import measures_table
from tensionlog.report.check_text import VERDICT_SAYS, VERDICT_WORDS, span_text
from tensionlog.report.check_view import Chart, CheckView
from tensionlog.report.control_figure import control_figure
from tensionlog.report.error_figure import error_figure
from tensionlog.report.guide_words import UNIT_WORDS
from tensionlog.report.markup import Markup, facts, section, table, tag
from tensionlog.report.page import page
from tensionlog.report.plot import CSS
from tensionlog.units import from_newtons

STYLE: Final = (
    CSS + ".charts{display:grid;gap:1rem 2rem;"
    "grid-template-columns:repeat(auto-fit,minmax(min(21rem,100%),1fr))}"
    ".charts figcaption{font-size:1rem;max-width:36rem;margin:.2rem 0 1rem}"
    ".dials{columns:4 9.5rem;column-gap:1.6rem;list-style:none;padding:0;margin:1rem 0}"
    ".dials li{display:grid;grid-template-columns:3.4rem 1fr auto;gap:.4rem;"
    "break-inside:avoid;padding:.1rem 0;border-bottom:1px solid var(--line)}"
    ".dials b{font-size:1.15rem}.dials small{color:var(--soft)}"
    ".verdict{font-size:clamp(2.6rem,9vw,4.5rem);line-height:1;margin:.4rem 0 .2rem;"
    "font-weight:750;letter-spacing:-.02em}"
    ".verdict.look{color:var(--accent)}.verdict.look::before{content:'\\25C6\\00a0';"
    "font-size:.5em}"
    ".measures th,.measures td{white-space:normal}.measures .text{min-width:6rem}"
    ".plain{width:fit-content;max-width:100%}.plain table{min-width:0}"
    "@media print{.newpage{break-before:page}.dials{columns:4}.charts{"
    "grid-template-columns:repeat(2,1fr)}.chart{max-width:24rem}}"
)

CAUTIONS: Final = (
    "Masses hang from a separate rated beam over a mat, feet clear, never above the cell’s "
    "rated load.",
    "Dial advice is given only while today’s check is good, corrects by 5 % at most, and stays "
    "below the frame’s limit; the frame maker’s limit and the machine maker’s instructions "
    "come first.",
    "The reading is not a safety device.",
)


def check_page(view: CheckView) -> str:
    """Write the page."""
    title = f"Check of {view.bench}, {view.at:%Y-%m-%d}"
    sections = [
        _top(view),
        _loads(view),
        *_head(view),
        *_over_time(view.charts),
        *_dial(view),
        _rests_on(view),
    ]
    return page(sections, title=title, style=STYLE, has_figures=False)


def _top(view: CheckView) -> Markup:
    check = view.check
    verdict = check.get("verdict")
    word = "NO VERDICT" if verdict is None else VERDICT_WORDS[verdict]
    says = (
        check.get("problem") or "nothing was hung" if verdict is None else VERDICT_SAYS[verdict]
    )
    return tag(
        "header",
        tag(
            "p",
            f"Morning check · {view.bench} · {view.at:%Y-%m-%d %H:%M} UTC",
            class_="eyebrow",
        ),
        tag("p", word, class_="verdict" if verdict == "good" else "verdict look"),
        tag("h1", f"{says[0].upper()}{says[1:]}"),
        facts(_facts(view)),
    )


def _facts(view: CheckView) -> Iterator[tuple[str, str]]:
    check = view.check
    yield "Cell", span_text(check) or "not known"
    yield "Empty reading", _number(check.get("zero_N"), 2, "N")
    yield "Covered up to", _number(check.get("range_N"), 0, "N")
    yield "Calibration", view.calibration or "the bench’s set-up"


def _loads(view: CheckView) -> Markup:
    points = view.check.get("points") or []
    figure = error_figure(points, view.tolerance)
    drawn = [] if figure is None else [tag("figure", figure, class_="keep")]
    rows = [_load_row(view, point) for point in points]
    heads = ["load", "way", "reference N", "reading N", "error N", "u N", "tolerance N"]
    more = [tag("p", warning, class_="note") for warning in view.check.get("warnings") or ()]
    return section(
        "Loads",
        *drawn,
        table(heads, rows, label="Loads of the check", class_="plain"),
        *more,
        tag("h3", "What else the loads tell"),
        measures_table(view.check, view.tolerance),
    )


def _load_row(view: CheckView, point: Mapping[str, Any]) -> Markup:
    tolerance_n = view.tolerance.at_n(point["reference_N"])
    error, u = point.get("error_N"), point.get("u_N")
    outside = error is not None and abs(error) + 2 * (u or 0.0) > tolerance_n
    cells = (
        point.get("direction", ""),
        f"{point['reference_N']:.3f}",
        _number(point.get("reading_N"), 3, ""),
        "" if error is None else f"{error:+.3f}",
        _number(u, 3, ""),
        f"{tolerance_n:.2f}",
    )
    name = f"{point.get('load', '')}{' ◆ look' if outside else ''}"
    return tag(
        "tr",
        tag("th", name, scope="row"),
        *(tag("td", c) for c in cells),
        class_="look" if outside else None,
    )


def _head(view: CheckView) -> Iterator[Markup]:
    if not view.head_pulls and not view.holds:
        return
    rows = [
        tag(
            "tr",
            tag("th", f"{pull['set_N']:.0f} N", scope="row"),
            tag("td", pull.get("speed") or "", class_="text"),
            tag("td", _number(pull.get("peak_N"), 1, "")),
            tag("td", _number(pull.get("at_3s_N"), 1, "")),
            tag("td", _off(pull)),
        )
        for pull in view.head_pulls
    ]
    heads = ["dial", "pulled", "peak N", "3 s later N", "off the dial %"]
    said = []
    if view.head is not None:
        said.append(tag("p", _head_sentence(view)))
    held = [tag("p", _hold_sentence(hold)) for hold in view.holds]
    tables = [table(heads, rows, label="Head check", class_="plain")] if rows else []
    yield section("Head and clamps", *said, *tables, *held)


def _head_sentence(view: CheckView) -> str:
    head = view.head
    if head is None:
        return ""
    repeat = head.repeatability_pct
    fast = head.fast_less_slow_pct
    return (
        f"Offset {head.peak.offset_n:+.1f} N, gain {head.peak.gain:.3f}"
        + ("" if repeat is None else f", repeats within {repeat:.1f} %")
        + ("" if fast is None else f", fast pulls give {fast:+.1f} % more than slow ones")
        + f"; {len(head.pulls)} pulls of the last two weeks."
    )


def _hold_sentence(hold: Mapping[str, Any]) -> str:
    lost = hold.get("hand_off_loss_N")
    if lost is None:
        return f"Clamp {hold['clamp']}: {hold.get('problem') or 'no reading'}"
    give, u = hold.get("give_mm"), hold.get("u_give_mm")
    gave = "" if give is None or u is None else f", gave {give:.2f} ± {u:.2f} mm"
    verdict = hold.get("verdict")
    return f"Clamp {hold['clamp']}: {verdict}; lost {lost:.2f} N at the hand-off{gave}."


def _over_time(charts: Sequence[Chart]) -> Iterator[Markup]:
    if not charts:
        return
    drawn = [
        tag("figure", control_figure(chart), tag("figcaption", chart.says), class_="keep")
        for chart in charts
    ]
    note = (
        "C: another calibration; S: a service. The limits are for the eye; an alert needs the "
        "alarm of a cumulative chart and a size that matters."
    )
    yield section(
        "Over the mornings", tag("div", *drawn, class_="charts"), tag("p", note, class_="note")
    )


def _dial(view: CheckView) -> Iterator[Markup]:
    if not view.dial:
        return
    name = UNIT_WORDS[view.unit]
    rows = tag("ul", *(_dial_row(one, view.unit) for one in view.dial), class_="dials")
    intro = (
        f"Ordered {name}, then what to dial, then one standard uncertainty of the pull. Good "
        f"for {view.at:%Y-%m-%d} only."
    )
    yield tag(
        "div",
        section(
            f"What to dial ({name})",
            tag("p", intro),
            rows,
            tag("p", CAUTIONS[1], class_="caution"),
        ),
        class_="newpage",
    )


def _dial_row(one: Advice, unit: str) -> Markup:
    order, u = from_newtons(one.order_n, unit), from_newtons(one.u_n, unit)
    dial = "none" if one.dial_n is None else f"{from_newtons(one.dial_n, unit):.1f}"
    held = " held" if one.capped else ""
    return tag(
        "li",
        tag("span", f"{round(order, 1):g}"),
        tag("b", dial),
        tag("small", f"± {u:.2f}{held}"),
    )


def _rests_on(view: CheckView) -> Markup:
    parts = view.check.get("budget_pct") or {}
    rows = [
        tag("tr", tag("th", name, scope="row"), tag("td", f"{size:.4f}"))
        for name, size in parts.items()
        if size is not None
    ]
    budget = [table(["part of the span’s u", "%"], rows, label="Budget", class_="plain")]
    return section(
        "What it rests on",
        tag("p", "Words are those of ISO 376 and ASTM E74; conformity to neither is claimed.",
            class_="note"),
        *(budget if rows else []),
        *(tag("p", caution, class_="caution") for caution in (CAUTIONS[0], CAUTIONS[2])),
    )  # fmt: skip


def _number(value: float | None, digits: int, unit: str) -> str:
    if value is None:
        return "not made"
    return f"{value:.{digits}f} {unit}".strip().replace("-", "−")


def _off(pull: Mapping[str, Any]) -> str:
    peak = pull.get("peak_N")
    return "no reading" if not peak else f"{100 * (peak / pull['set_N'] - 1):+.1f}"
