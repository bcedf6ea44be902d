"""HTML by small pieces, in which a forgotten escape is not possible."""

import html
import json
from collections.abc import Iterable
from typing import Any


class Markup(str):
    """Text that is HTML already; every other text is escaped on its way in."""

    __slots__ = ()


def escaped(piece: object) -> Markup:
    """Make any piece safe to stand in a page; `Markup` is left as it is.

    >>> escaped("R5 < L5")
    'R5 &lt; L5'
    """
    return piece if isinstance(piece, Markup) else Markup(html.escape(str(piece)))


def joined(pieces: Iterable[object]) -> Markup:
    """Escape each piece and put them one behind the other."""
    return Markup("".join(escaped(piece) for piece in pieces))


def tag(name: str, *inside: object, **attributes: str | bool | None) -> Markup:
    """Write one element; `class_` and `data_x` become `class` and `data-x`.

    >>> tag("p", "a & b", class_="note")
    '<p class="note">a &amp; b</p>'
    """
    given = "".join(
        f" {key.rstrip('_').replace('_', '-')}"
        + ("" if value is True else f'="{html.escape(str(value))}"')
        for key, value in attributes.items()
        if value is not None and value is not False
    )
    return Markup(f"<{name}{given}>{joined(inside)}</{name}>")


def json_script(data: Any, **attributes: str) -> Markup:
    """Carry JSON in the page; no text inside can end the element or start a comment.

    Inside JSON `<`, `>` and `&` only stand within strings, where an escape means the same.
    """
    return embedded(json.dumps(data, separators=(",", ":"), allow_nan=False), **attributes)


def embedded(json_text: str, **attributes: str) -> Markup:
    """Carry JSON text that is written already."""
    safe = json_text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")
    return tag("script", Markup(safe), type="application/json", **attributes)


def section(title: str, *inside: object, id_: str | None = None) -> Markup:
    """Write a titled part of the page."""
    return tag("section", tag("h2", title), *inside, id_=id_)


def facts(pairs: Iterable[tuple[str, object]]) -> Markup:
    """Write name and text pairs as a list that reflows."""
    return tag(
        "dl",
        *(tag("div", tag("dt", name), tag("dd", text)) for name, text in pairs),
        class_="facts",
    )


def table(
    head: Iterable[object], body: Iterable[Markup], *, label: str, class_: str = ""
) -> Markup:
    """Write a table that scrolls in its own box; `body` is made of whole rows."""
    return tag(
        "div",
        tag(
            "table",
            tag("thead", tag("tr", *(_head_cell(cell) for cell in head))),
            tag("tbody", *body),
        ),
        class_=f"scroll {class_}".strip(),
        role="region",
        tabindex="0",
        aria_label=label,
    )


def _head_cell(cell: object) -> Markup:
    return tag("th", cell, scope="col")
