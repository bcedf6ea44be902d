"""The report on one job, as one page."""

from tensionlog.report.bed import Bed, bed_figure, bed_info
from tensionlog.report.foundation import foundation_section
from tensionlog.report.markup import Markup, section, tag
from tensionlog.report.order import order_figure, order_info
from tensionlog.report.page import page, plot
from tensionlog.report.rows import rows
from tensionlog.report.table import pull_table
from tensionlog.report.together import together_section
from tensionlog.report.top import legend, look_list, top
from tensionlog.report.trace_figure import trace_figure
from tensionlog.report.traces import TraceView, traces_info
from tensionlog.report.view import JobView
from tensionlog.report.words import STATE_WORDS, plural


def job_page(view: JobView) -> str:
    """Write the report on one job: one file, nothing loaded, nothing written."""
    parts = [top(view), look_list(view), _bed_section(view)]
    if view.pulls:
        parts += [_order_section(view), _traces_section(view), _table_section(view)]
    parts += [together_section(view), foundation_section(view), _footer(view)]
    return page([p for p in parts if p], title=f"Job {view.job.ref} · what was pulled")


def _bed_section(view: JobView) -> Markup | None:
    bed = bed_info(view)
    if all(line.state == "missing" for line in bed.lines):
        return None
    described = f"The string bed with the {bed.shows} of every string at its end."
    beside = tag(
        "div",
        *(tag("p", line) for line in _bed_words(bed, view)),
        legend(
            {line.state for line in bed.lines},
            held=any(line.at_least for line in bed.lines),
            limits=view.limits,
        ),
    )
    figure = tag("figure", plot(bed_figure(bed), described=described, print_px=360))
    return section("The bed", tag("div", figure, beside, class_="split"))


def _bed_words(bed: Bed, view: JobView) -> list[str]:
    unit = view.reader.unit
    shown = (
        f"At each string’s end: its loss in {unit}, target minus reading at release; "
        "a minus sign is over target."
        if bed.shows == "loss"
        else "At each string’s end: how far its reading lies from the median of the mains, or "
        "of the crosses, in per cent."
    )
    side = "at the head’s top" if bed.crosses_from == "top" else "at the throat"
    said = [
        shown,
        f"X1 lies {side}. Mains count from the centre: L to the left, R to the right.",
    ]
    if view.is_calibrated and view.header.head == "lockout":
        said.append(
            "A lockout head shows the string relaxing before the release: that is part of "
            "every loss, and no fault of a clamp."
        )
    if view.is_calibrated:
        said.append("▲ reads above, ▼ below what was to be expected.")
    return said


def _order_section(view: JobView) -> Markup | None:
    order = order_info(view)
    if not order.dots:
        return None
    described = f"The {order.axis} of every pull in the order made."
    key = (
        "◀ left main, ▶ right main, ■ cross; × is a pull that was made again. Bars are each "
        "pull’s own noise and zero, without the scale’s part, which all share."
    )
    return section(
        "In the order pulled",
        tag("p", key, class_="note"),
        tag("figure", plot(order_figure(order), described=described), class_="keep"),
    )


def _traces_section(view: JobView) -> Markup:
    traces = traces_info(view)
    return section(
        "Every pull",
        tag("p", _trace_key(view), class_="note"),
        tag("p", "Touch one to see it large.", class_="note screen"),
        *_thinned_note(traces),
        tag("div", *(_cell(trace, view) for trace in traces), class_="grid"),
    )


def _trace_key(view: JobView) -> str:
    key = (
        "● settled top, ◆ reading at release (◇ where no step was seen), | let-off. "
        "The scale shows the hold, not the whole rise, and is each pull’s own."
    )
    if not view.is_calibrated:
        return key
    return "Dashed: target; dotted: what was to be expected; " + key


def _thinned_note(traces: tuple[TraceView, ...]) -> list[Markup]:
    thinned = [trace for trace in traces if trace.thinned_from is not None]
    if not thinned:
        return []
    said = (
        f"{plural(len(thinned), 'trace')} thinned for drawing to the lowest and highest of "
        "each run of readings; no number rests on the thinned ones."
    )
    return [tag("p", said, class_="note")]


def _cell(trace: TraceView, view: JobView) -> Markup:
    state = STATE_WORDS[trace.state]
    goes_without_saying = trace.state in ("within", "unjudged")
    described = f"Trace of pull {trace.number}, {trace.name}, {state}."
    caption = tag(
        "figcaption", tag("b", trace.name), tag("span", "" if goes_without_saying else state)
    )
    return tag(
        "figure",
        caption,
        plot(trace_figure(trace), described=described, small=True),
        tag("button", type="button", aria_label=f"{trace.name} large", aria_expanded="false"),
        class_=f"cell {trace.state}",
    )


def _table_section(view: JobView) -> Markup:
    note = (
        "“Expected” is the target as this head, string and dwell would leave it at the "
        "release. “String behind” is the one that the opened clamp had held; “≥” counts "
        "only what friction cannot hide."
    )
    return section(
        "The numbers", pull_table(rows(view), view.reader), tag("p", note, class_="note")
    )


def _footer(view: JobView) -> Markup:
    rules = sorted({found.rule for found in view.pulls})
    by = f"Numbers by {', '.join(rules)}. " if rules else ""
    return tag(
        "footer",
        tag("p", f"From recording {view.recording}. {by}Written by {view.made_with}."),
    )
