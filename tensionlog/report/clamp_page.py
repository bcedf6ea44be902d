"""The maintenance page: how each clamp stands, how that changed, who is at fault."""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from tensionlog.report.bench_charts import hold_chart, line_chart, shown_of
from tensionlog.report.bench_view import BenchView, Held, InJobs, Line
from tensionlog.report.hold_text import pair
from tensionlog.report.markup import Markup, section, table, tag
from tensionlog.report.rounding import MINUS
from tensionlog.report.still import still_page
from tensionlog.report.words import plural

Answer = Mapping[str, Any]

WORDS: Final = {"good": "good", "watch": "watch", "service": "service", None: "not tested"}
ALERTS_WHOLE: Final = 8
"""Alerts told whole, newest first; of older ones a line each."""

UNMEASURED: Final = "not measured since"
"""How evidence says that a series tells nothing."""

ALERTS_AT_MOST: Final = 60
SERVICES_AT_MOST: Final = 30


def clamp_page(view: BenchView) -> str:
    """Write the maintenance page of one bench: one file, nothing loaded, no script."""
    parts = [
        _top(view),
        _states(view),
        _alerts(view),
        *(_give(name, line, view.held.get(name)) for name, line in view.gives.items()),
        _difference(view),
        _jobs(view),
        _services(view),
        _drifts(view),
        _foot(view),
    ]
    bench = view.status["bench"]
    title = f"Bench {bench} · clamps"
    return still_page([part for part in parts if part], title=title)


def _top(view: BenchView) -> Markup:
    status = view.status
    asking = [a for a in status["alerts"] if a["state"] != "closed"]
    worst = [c for c in status["clamps"] if c["state"] in ("watch", "service")]
    if asking:
        said = asking[-1]["text"]
    elif worst:
        said = "; ".join(f"clamp {c['clamp']}: {WORDS[c['state']]}" for c in worst) + "."
        said = said[0].upper() + said[1:]
    elif any(c["state"] for c in status["clamps"]):
        said = "Every clamp holds."
    else:
        said = "No clamp has been hold-tested yet."
    written = f"Bench {status['bench']} · written {view.written_on:%Y-%m-%d %H:%M}"
    return tag("header", tag("p", written, class_="eyebrow"), tag("h1", said))


def _states(view: BenchView) -> Markup:
    cards = [_clamp_card(clamp) for clamp in view.status["clamps"]]
    cards += [_cell_card(view.status["cell"]), _head_card(view.status["head"])]
    return tag("ul", *cards, class_="states")


def _card(name: str, word: str, lines: list[str], *, asks: bool) -> Markup:
    return tag(
        "li",
        tag("h3", name),
        tag("p", word, class_="word"),
        *(tag("p", line, class_="note") for line in lines),
        class_="asks" if asks else None,
    )


def _clamp_card(clamp: Answer) -> Markup:
    asks = clamp["state"] in ("watch", "service") or clamp["alert"] is not None
    return _card(
        f"Clamp {clamp['clamp']}",
        WORDS.get(clamp["state"], str(clamp["state"])),
        list(_clamp_lines(clamp)),
        asks=asks,
    )


def _clamp_lines(clamp: Answer) -> Iterator[str]:
    if clamp["give_mm"] is not None:
        yield f"gives {pair(clamp['give_mm'], clamp['u_give_mm'])} mm"
    elif clamp["why_no_mm"]:
        yield str(clamp["why_no_mm"])
    if clamp["since"]:
        yield f"so since {clamp['since'][:10]}, tested {clamp['tested'][:10]}"
    if clamp["problem"]:
        yield f"last test: {clamp['problem']}"
    if clamp["needed"]:
        yield f"{plural(clamp['needed'], 'more test')} before a change can be told"
    yield from _due(clamp["service_due"])
    if clamp["served"]:
        yield f"{clamp['served']['what']} on {clamp['served']['at'][:10]}"


def _due(due: Answer | None) -> Iterator[str]:
    if due and due["at"]:
        to = f"to {due['latest']}" if due["latest"] else "or later"
        yield f"at this rate its limit is reached about {due['at']} ({due['earliest']} {to})"


def _cell_card(cell: Answer) -> Markup:
    lines = []
    if cell["span_error_pct"] is not None:
        lines.append(f"span {_signed(cell['span_error_pct'], 3)} %")
    if cell["checked"]:
        lines.append(f"checked {cell['checked'][:10]}")
    asks = cell["verdict"] in ("adjust", "stop") or cell["alert"] is not None
    return _card("Cell", cell["verdict"] or "not checked", lines, asks=asks)


def _head_card(head: Answer) -> Markup:
    if head["error_pct"] is None:
        return _card("Head", "not compared", [], asks=False)
    word = f"{_signed(head['error_pct'], 1)} %"
    lines = [f"off its dial, {head['checked'][:10]}"]
    return _card("Head", word, lines, asks=head["alert"] is not None)


def _signed(value: float, decimals: int) -> str:
    return f"{value:+.{decimals}f}".replace("-", MINUS)


def _alerts(view: BenchView) -> Markup:
    newest = list(reversed(view.status["alerts"]))
    if not newest:
        return section("Alerts", tag("p", "None was ever raised on this bench."))
    # What is open comes first, however old.
    ordered = sorted(newest, key=lambda alert: alert["state"] == "closed")
    told, rest = ordered[:ALERTS_WHOLE], ordered[ALERTS_WHOLE:]
    inside = [_alert(alert) for alert in told]
    if rest:
        inside.append(_older(rest))
    return section("Alerts, and what they rest on", *inside)


def _alert(alert: Answer) -> Markup:
    is_open = alert["state"] != "closed"
    ended = f"closed {alert['closed'][:10]}" if alert["closed"] else alert["state"]
    when = f"{alert['cause']} · raised {alert['raised'][:10]} · {ended}"
    back = f" · back {alert['reopened'][-1][:10]}" if alert["reopened"] else ""
    runner = alert["runner_up"]
    return tag(
        "article",
        tag("p", when + back, class_="eyebrow"),
        tag("h3", alert["text"]),
        tag("p", alert["do"], class_="do") if is_open else Markup(""),
        tag("ul", *(tag("li", line) for line in _evidence(alert["evidence"]))),
        tag("p", f"It could also be {runner}.", class_="note") if runner else Markup(""),
        class_="alert open" if is_open else "alert",
    )


def _evidence(lines: list[str]) -> Iterator[str]:
    """The lines with a number one by one, the series without any in one."""
    silent = [line for line in lines if UNMEASURED in line]
    yield from (line for line in lines if line not in silent)
    if silent:
        names = ", ".join(line.split(":")[0] for line in silent)
        yield f"{UNMEASURED} (or no baseline before): {names}"


def _older(rest: list[Answer]) -> Markup:
    rows = [
        tag("tr", *(tag("td", cell, class_="text") for cell in (
            alert["raised"][:10], alert["cause"], alert["text"],
            (alert["closed"] or "")[:10] or alert["state"],
        )))
        for alert in rest[:ALERTS_AT_MOST]
    ]  # fmt: skip
    listed = table(("raised", "cause", "what", "closed"), rows, label="Older alerts")
    left = len(rest) - len(rows)
    note = tag("p", f"{left} older ones are left out here.", class_="note")
    return tag("div", tag("h3", "Older ones"), listed, note if left else Markup(""))


def _give(name: str, line: Line, held: Held | None) -> Markup:
    inside = [tag("p", _give_key(line), class_="note"), line_chart(line), *_left_out(line)]
    if held is not None:
        inside += [tag("h3", "Held second by second"), tag("p", _held_key(held), class_="note")]
        inside.append(hold_chart(name, held))
    return section(f"Clamp {name}", *inside)


def _give_key(line: Line) -> str:
    said = [
        "Each dot is a hold test, in millimetres of give; a line is the middle of a stretch."
    ]
    if line.marks:
        said.append("▼ is a service: what came before it is no baseline for what comes after.")
    if line.alerts:
        said.append("Shaded: an alert was open.")
    return " ".join(said)


def _left_out(line: Line) -> list[Markup]:
    shown = shown_of(line)
    if shown == len(line.values):
        return []
    said = (
        f"{shown} of {len(line.values)} tests are drawn: of those that fall on one place "
        "the lowest and the highest. Every number rests on all of them."
    )
    return [tag("p", said, class_="note")]


def _held_key(held: Held) -> str:
    at = "" if held.force_n is None else f" at {held.force_n:.0f} N"
    said = f"Thick: the test of {held.latest_on}{at}."
    if not held.tests:
        return f"{said} There is no other test to compare it with yet."
    return f"{said} Thin: the middle of {held.tests} tests of its baseline; grey: their range."


def _difference(view: BenchView) -> Markup:
    title = "Clamp A less clamp B, inside jobs"
    line = view.a_minus_b
    if line is None:
        said = (
            "No job has shown a drop at both clamps yet: what a release cannot show is not "
            "counted as nothing."
        )
        return section(title, tag("p", said))
    key = (
        "String, target, hand and cell are the same for both clamps of a job and drop out; "
        "the side does not. Look for a change, not at the level."
    )
    return section(title, tag("p", key, class_="note"), line_chart(line), *_left_out(line))


def _jobs(view: BenchView) -> Markup:
    if not view.in_jobs:
        return section("What jobs say", tag("p", "No job is on record."))
    rows = [_in_job(one) for one in view.in_jobs]
    head = ("clamp", "jobs", "releases", "could show 1 mm", "did", "95 %", "dead band")
    note = (
        "Mains only. A release that showed nothing lies below the dead band: it is no proof "
        "that nothing was lost."
    )
    return section(
        "What the latest jobs say",
        table(head, rows, label="Releases of the latest jobs", class_="plain"),
        tag("p", note, class_="note"),
    )


def _in_job(one: InJobs) -> Markup:
    share = "–"
    if one.low is not None and one.high is not None:
        share = f"{100 * one.low:.0f} to {100 * one.high:.0f} %"
    dead = f"{one.dead_band_n:.1f} N, {one.dead_band_mm:.2f} mm"
    cells = (one.jobs, one.releases, one.could_show, one.seen, share, dead)
    return tag("tr", tag("th", one.clamp, scope="row"), *(tag("td", cell) for cell in cells))


def _services(view: BenchView) -> Markup | None:
    newest = list(reversed(view.services))
    if not newest:
        return None
    rows = [_service(one) for one in newest[:SERVICES_AT_MOST]]
    head = ("date", "clamp", "what", "before", "after", "change (95 %)", "it helped", "for")
    left = len(newest) - len(rows)
    note = tag("p", f"{plural(left, 'older service')} left out.", class_="note")
    return section(
        "Services",
        table(head, rows, label="Services, newest first", class_="plain"),
        note if left else Markup(""),
    )


def _service(one: Answer) -> Markup:
    change = "–"
    if one["change"]:
        low, best, high = (_signed(one["change"][key], 2) for key in ("low", "best", "high"))
        change = f"{best} ({low} to {high}) mm"
    helped = {True: "yes", False: "no", None: "not told yet"}[one["helped"]]
    lasted = "–" if one["lasted_days"] is None else f"{one['lasted_days']:.0f} days"
    before, after = (
        "–" if one[key] is None else f"{one[key]:.2f} mm" for key in ("before", "after")
    )
    cells = (one["clamp"], one["what"], before, after, change, helped, lasted)
    return tag(
        "tr",
        tag("th", one["at"][:10], scope="row"),
        *(tag("td", cell) for cell in cells),
    )


def _drifts(view: BenchView) -> Markup | None:
    if not view.drifts:
        return None
    inside = []
    for line in view.drifts:
        inside += [tag("h3", line.name), line_chart(line), *_left_out(line)]
    return section("Cell and head, by which clamps are judged", *inside)


def _foot(view: BenchView) -> Markup:
    said = (
        "Millimetres come through the stiffness of the control reel: its doubt is in every ±. "
    )
    if view.other_force:
        said += (
            f"{plural(view.other_force, 'hold test')} at another force than most are left out. "
        )
    return tag("footer", tag("p", f"{said}Not a safety device. Written by {view.made_with}."))
