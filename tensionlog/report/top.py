"""The top of the page: the verdict, the job, the claim, and what to look at."""

from collections.abc import Iterator

from tensionlog.report.look import ACCENT, FAINT, INK, SOFT
from tensionlog.report.markup import Markup, facts, section, tag
from tensionlog.report.verdict import common_sentence, reasons, sentence, verdict_info
from tensionlog.report.view import JobView, Limits
from tensionlog.report.words import HEAD_WORDS, listed, plural

CLAIM = (
    "This is what was pulled: the reading as each clamp was opened. "
    "The strung bed holds less than that."
)
NOT_SAFETY = "The reading is not a safety device."
PULL_AGAIN = (
    "Pulling one again: a string under tension can snap. "
    "Eye protection on, face out of the string’s line."
)

TICKET_FACTS = (
    ("owner", "Owner"),
    ("frame", "Frame"),
    ("string", "String"),
    ("string_mains", "String, mains"),
    ("string_crosses", "String, crosses"),
    ("gauge_mm", "Gauge, mm"),
    ("reel", "Reel"),
    ("operator", "Strung by"),
    ("prestretch_pct", "Prestretch, %"),
    ("room_C", "Room, °C"),
    ("rh_pct", "Room, % RH"),
)
"""Ticket entries that are shown where they are given, with the names people use."""


def top(view: JobView) -> Markup:
    """Write verdict, claim, facts and the cautions that belong to this job."""
    verdict = verdict_info(view)
    again = f" · bed {view.run.bed}" if view.run.bed > 1 else ""
    return tag(
        "header",
        tag("p", f"Job {view.job.ref}{again} · {_day(view)}", class_="eyebrow"),
        tag("h1", sentence(verdict)),
        tag("p", f"{CLAIM} {NOT_SAFETY}" if verdict.total else NOT_SAFETY, class_="claim"),
        *(tag("p", text, class_="claim") for text in [common_sentence(verdict)] if text),
        *(tag("p", text, class_="caution") for text in cautions(view)),
        facts(_facts(view)),
    )


def _day(view: JobView) -> str:
    return f"{view.recorded_on:%Y-%m-%d %H:%M}"


def cautions(view: JobView) -> list[str]:
    """What somebody should know before reading on, one sentence each."""
    said = list(_gaps_of_the_job(view))
    origin = view.header.raw.get("origin")
    if isinstance(origin, str) and origin:
        said.insert(0, f"Where this comes from: {origin}.")
    limit = view.job.raw.get("frame_limit_N")
    ordered = [n for p in view.job.sequence if (n := view.job.target_n(p)) is not None]
    if isinstance(limit, int | float) and max(ordered, default=0.0) > limit:
        said.append(
            f"Ordered above the frame’s own limit of {view.reader.order(limit)}: "
            "the frame maker’s limit comes first."
        )
    if view.last_check is not None and view.last_check.verdict == "stop":
        said.append(
            f"The check of {view.last_check.on} said stop: do not trust these readings."
        )
    return said


def _gaps_of_the_job(view: JobView) -> Iterator[str]:
    if view.run.broke:
        yield f"String {view.run.broke} broke and ended this bed."
    elif view.run.ended_s is None:
        yield "The recording stops before the job was ended; this is what it holds."
    missing = verdict_info(view).missing
    if view.pulls and missing and not view.run.broke:
        names = listed(list(missing))
        yield f"{plural(len(missing), 'planned string')} without a pull: {names}."
    if not view.is_calibrated:
        yield "No calibration: every reading is in counts of the converter, none is a force."
    if view.header.is_plain:
        yield (
            "The device spoke plain lines, without a check sum or a count of its own: "
            "lost or damaged readings cannot be known."
        )


def _facts(view: JobView) -> Iterator[tuple[str, object]]:
    raw, reader = view.job.raw, view.reader
    for key, name in TICKET_FACTS:
        if raw.get(key) not in (None, ""):
            yield name, _short(raw[key])
    ordered = (view.job.target_mains_n, view.job.target_crosses_n)
    yield "Ordered, mains / crosses", " / ".join(reader.order(n) for n in ordered)
    if isinstance(raw.get("frame_limit_N"), int | float):
        yield "Frame’s own limit", reader.order(raw["frame_limit_N"])
    yield "Head", HEAD_WORDS.get(view.header.head or "", "not recorded")
    yield "Bench", _short(view.header.bench)
    for item, answer in view.run.inspections:
        yield f"Inspected: {_short(item)}", _short(answer)


def _short(entry: object) -> str:
    text = str(entry)
    return text if len(text) <= 160 else text[:159] + "…"


def look_list(view: JobView) -> Markup | None:
    """Write the pulls to look at, each with its reasons in words; None without any."""
    look = verdict_info(view).look
    if not look:
        return None
    limits = view.limits
    items = (
        tag("li", tag("b", row.name), tag("span", "; ".join(reasons(row, view.reader, limits))))
        for row in look
    )
    listed_pulls = tag("ul", *items, class_="look")
    return section("To look at", listed_pulls, tag("p", PULL_AGAIN, class_="caution"))


def legend(states: set[str], *, held: bool, limits: Limits) -> Markup:
    """Explain the strokes that this bed has: width, dash and symbol say it without colour."""
    wide = _stroke(ACCENT, "5.5") + _triangle(ACCENT)
    drawn = {
        "within": (_stroke(SOFT, "1.6"), f"within {limits.within_pct:g} % of the expected"),
        "off": (
            _stroke(INK, "2.2", "7 4") + _triangle(INK),
            f"up to {limits.look_pct:g} % off",
        ),
        "look": (wide, "to look at"),
        "unjudged": (_stroke(SOFT, "1.6") + _ring(), "pulled, nothing to judge it by"),
        "missing": (_stroke(FAINT, "1.2", "1 5"), "planned, no pull stands"),
    }
    entries = [entry for state, entry in drawn.items() if state in states]
    if held:
        entries.append((_beads(), "the string behind: what its clamp let go, at least"))
    items = (tag("li", tag("span", _icon(d)), tag("span", text)) for d, text in entries)
    return tag("ul", *items, class_="legend")


def _icon(drawing: str) -> Markup:
    return Markup(f'<svg viewBox="0 0 54 22" aria-hidden="true">{drawing}</svg>')


def _stroke(colour: str, width: str, dash: str = "none") -> str:
    return (
        f'<line x1="2" y1="11" x2="52" y2="11" style="stroke:{colour};stroke-width:{width};'
        f'stroke-dasharray:{dash}"/>'
    )


def _triangle(colour: str) -> str:
    return f'<path d="M40 17h12l-6-11z" style="fill:{colour}"/>'


def _ring() -> str:
    return f'<circle cx="48" cy="11" r="4" style="stroke:{SOFT};stroke-width:1.6;fill:none"/>'


def _beads() -> str:
    style = f'style="stroke:{INK};stroke-width:1.6;fill:none"'
    beads = "".join(f'<circle cx="{x}" cy="11" r="3.4" {style}/>' for x in range(6, 54, 11))
    return _stroke(SOFT, "1.6") + beads
