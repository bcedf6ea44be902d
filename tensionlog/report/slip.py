"""The slip for the player: what was ordered, what was pulled, when to come again. A6."""

import statistics
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from tensionlog.report.look import FONT
from tensionlog.report.markup import Markup, tag
from tensionlog.report.rounding import Reader, orders
from tensionlog.report.rows import Row, rows, standing
from tensionlog.report.view import JobView

CLAIM: Final = (
    "Pulled is what the machine pulled, string by string, read as each clamp was opened. "
    "The strung bed holds less than that, and loses more with time."
)

STYLE: Final = (
    "@page{size:105mm 148mm;margin:8mm}"
    "*{box-sizing:border-box}"
    "html{color-scheme:light}"
    f"body{{margin:0 auto;max-width:89mm;color:#000;background:#fff;font:10.5pt/1.35 {FONT};"
    "font-variant-numeric:tabular-nums;overflow-wrap:anywhere}"
    "@media screen{body{padding:6mm 8mm;max-width:105mm}}"
    "h1{font-size:15pt;line-height:1.15;margin:0 0 1mm}"
    ".shop{margin:0 0 3mm;font-size:9pt}"
    "dl{margin:0;border-top:1.5pt solid #000}"
    "dl div{display:grid;grid-template-columns:24mm 1fr;gap:2mm;padding:1.1mm 0;"
    "border-bottom:.4pt solid #888}"
    "dt{font-size:9pt}dd{margin:0;font-weight:600}"
    "dd small{font-weight:400;font-size:9pt}"
    ".claim{font-size:8.5pt;margin:3mm 0 0}"
    ".next{margin:3mm 0 0;padding:2mm 0;border-top:1.5pt solid #000;"
    "border-bottom:1.5pt solid #000;font-size:11pt}"
    ".next b{font-size:13pt}"
    ".foot{font-size:8pt;margin:2mm 0 0}"
    "p,dl div{break-inside:avoid}"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Practice:
    """What a workshop prints on its slips.

    Attributes:
        workshop: Its name, or empty.
        restring_days: Days until the next restring as the workshop advises, or None.
    """

    workshop: str = ""
    restring_days: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pulled:
    """What one kind of string was pulled to.

    Attributes:
        name: `Mains` or `Crosses`.
        ordered_n: Ordered tension, newtons, or None.
        mean: Mean reading at release, newtons or counts.
        spread: Standard deviation of the readings, or None of fewer than two.
        n: Strings with a reading.
    """

    name: str
    ordered_n: float | None
    mean: float | None
    spread: float | None
    n: int


def pulled(view: JobView) -> list[Pulled]:
    """Mean and spread of the pulls that stand, mains and crosses apart."""
    last = standing(rows(view))
    job = view.job
    return [
        _pulled("Mains", job.target_mains_n, _readings(last, crosses=False)),
        _pulled("Crosses", job.target_crosses_n, _readings(last, crosses=True)),
    ]


def _readings(last: tuple[Row, ...], *, crosses: bool) -> list[float]:
    own = [row for row in last if row.name[0] in ("X" if crosses else "LR")]
    return [row.pull.release for row in own if row.pull.release is not None]


def _pulled(name: str, ordered_n: float | None, readings: list[float]) -> Pulled:
    return Pulled(
        name=name,
        ordered_n=ordered_n,
        mean=statistics.fmean(readings) if readings else None,
        spread=statistics.stdev(readings) if len(readings) > 1 else None,
        n=len(readings),
    )


def slip_page(view: JobView, practice: Practice | None = None) -> str:
    """Write the slip as one page that loads nothing, for paper of A6."""
    practice = practice or Practice()
    raw = view.job.raw
    title = str(raw.get("owner") or view.job.ref or "Strung")
    body = tag(
        "body",
        tag("h1", title),
        tag("p", _shop_line(view, practice), class_="shop"),
        tag("dl", *(_line(name, *said) for name, said in _lines(view))),
        tag("p", CLAIM, class_="claim"),
        *_next(view, practice),
        tag("p", f"Job {view.job.ref} · {view.made_with}", class_="foot"),
    )
    head = tag(
        "head",
        Markup('<meta charset="utf-8">'),
        Markup(
            '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
            "style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'\">"
        ),
        Markup('<meta name="viewport" content="width=device-width,initial-scale=1">'),
        tag("title", f"Slip {view.job.ref}"),
        tag("style", Markup(STYLE)),
    )
    text = f'<!doctype html>\n<html lang="en">{head}{body}</html>\n'
    return text.encode("utf-8", "replace").decode("utf-8")


def _shop_line(view: JobView, practice: Practice) -> str:
    parts = [practice.workshop, f"{view.recorded_on:%d %B %Y}"]
    operator = view.job.raw.get("operator")
    parts += [f"strung by {operator}"] if operator else []
    return " · ".join(part for part in parts if part)


def _line(name: str, text: str, small: str = "") -> Markup:
    inside = [text, tag("small", f" {small}")] if small else [text]
    return tag("div", tag("dt", name), tag("dd", *inside))


def _lines(view: JobView) -> list[tuple[str, tuple[str, ...]]]:
    raw, reader = view.job.raw, view.reader
    lines: list[tuple[str, tuple[str, ...]]] = []
    if raw.get("frame"):
        lines.append(("Frame", (str(raw["frame"]),)))
    string = " ".join(str(raw[k]) for k in ("string", "reel") if raw.get(k))
    gauge = f"{raw['gauge_mm']} mm" if raw.get("gauge_mm") else ""
    if string or gauge:
        lines.append(("String", (string, gauge)))
    ordered = orders(reader, view.job.target_mains_n, view.job.target_crosses_n)
    lines.append(("Ordered", (ordered, "mains / crosses" if "/" in ordered else "")))
    lines += [(f"Pulled, {p.name.lower()}", _pulled_text(p, reader)) for p in pulled(view)]
    return lines


def _pulled_text(found: Pulled, reader: Reader) -> tuple[str, str]:
    if found.mean is None:
        return "no reading", ""
    spread = "" if found.spread is None else f"spread {reader.amount(found.spread)}, "
    return reader.amount(found.mean), f"{spread}{found.n} strings"


def _next(view: JobView, practice: Practice) -> list[Markup]:
    if practice.restring_days is None:
        return []
    due = next_restring(view.recorded_on.date(), practice.restring_days)
    return [
        tag(
            "p",
            "Next restring, by this workshop’s practice: ",
            tag("b", f"{due:%d %B %Y}"),
            ", sooner if a string frays.",
            class_="next",
        )
    ]


def next_restring(strung: date, days: int) -> date:
    """The day that the workshop advises for the next restring.

    >>> next_restring(date(2026, 3, 2), 90)
    datetime.date(2026, 5, 31)
    """
    return strung + timedelta(days=days)
