"""Put figures and text together as one file that loads nothing and asks nobody."""

import base64
import hashlib
from typing import Any

from tensionlog.report.behaviour import SCRIPT
from tensionlog.report.look import DARK, LIGHT, PRINT, STYLE
from tensionlog.report.markup import Markup, embedded, joined, json_script, tag

PRINT_WIDE_PX = 640
"""Width of a figure on paper: A4 and Letter less their margins, in CSS pixels."""

PRINT_CELL_PX = 152
NO_SCRIPT = "The figures are drawn by this page’s own script; every number is in the tables."
SMALL_PX = 128


def plot(
    figure: Any, *, described: str, small: bool = False, print_px: int = PRINT_WIDE_PX
) -> Markup:
    """Carry one figure; the page's script draws it once it comes near the screen.

    Args:
        figure: A plotly figure whose colours are roles.
        described: What it shows, for whoever does not see it.
        small: Whether it is one of many.
        print_px: Its width on paper, in CSS pixels.
    """
    return joined(
        (
            tag(
                "div",
                class_="plot",
                role="img",
                aria_label=described,
                data_print=str(PRINT_CELL_PX if small else print_px),
                data_small=str(SMALL_PX) if small else None,
            ),
            embedded(figure.to_json()),
        )
    )


def page(
    sections: list[Markup], *, title: str, style: str = "", has_figures: bool = True
) -> str:
    """Write the whole page.

    Args:
        sections: From top to bottom.
        title: Of the window.
        style: More of the style sheet.
        has_figures: Whether anything needs the script that draws; if not, there is none.

    The content security policy lets exactly our two scripts run and nothing be loaded,
    so that a page mailed to a customer cannot call anybody.
    """
    scripts = _scripts() if has_figures else ()
    head = tag(
        "head",
        Markup('<meta charset="utf-8">'),
        Markup(f'<meta http-equiv="Content-Security-Policy" content="{_policy(scripts)}">'),
        Markup('<meta name="viewport" content="width=device-width,initial-scale=1">'),
        Markup('<meta name="referrer" content="no-referrer">'),
        tag("title", title),
        tag("style", Markup(STYLE + style)),
    )
    palettes = {"light": LIGHT, "dark": DARK, "print": PRINT}
    body = tag(
        "body",
        tag("div", *_without_script(has_figures), *sections, class_="wrap"),
        *([json_script(palettes, id="palettes")] if has_figures else []),
        *(tag("script", Markup(script)) for script in scripts),
    )
    text = f'<!doctype html>\n<html lang="en">{head}{body}</html>\n'
    # A note may hold half a surrogate pair, which no file can; better a "?" than no page.
    return text.encode("utf-8", "replace").decode("utf-8")


def _scripts() -> tuple[str, ...]:
    from plotly.offline import get_plotlyjs  # pages without figures do not wait for it

    return get_plotlyjs(), SCRIPT


def _without_script(has_figures: bool) -> list[Markup]:
    return [tag("noscript", tag("p", NO_SCRIPT))] if has_figures else []


def _policy(scripts: tuple[str, ...]) -> str:
    hashes = " ".join(f"'sha256-{_digest(script)}'" for script in scripts) or "'none'"
    return (
        f"default-src 'none'; script-src {hashes}; style-src 'unsafe-inline'; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )


def _digest(script: str) -> str:
    return base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
