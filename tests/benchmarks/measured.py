"""One figure and what it is compared with; how time is taken."""

import json
import os
import platform
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One figure.

    Attributes:
        group: What was looked at.
        what: What the product does.
        figure: How much, in `unit`.
        unit: Unit of both figures.
        peer: What else was measured in the same run.
        peer_figure: The same of the peer.
        note: What should be known beside it.
    """

    group: str
    what: str
    figure: float
    unit: str
    peer: str
    peer_figure: float
    note: str = ""

    @property
    def ratio(self) -> float:
        """The product's figure in units of the peer's."""
        return self.figure / self.peer_figure if self.peer_figure else float("nan")


def seconds(*works: Callable[[], object], times: int = 3) -> list[float]:
    """Least processor time of each work, all of them taken in turn so that they share load."""
    least = [float("inf")] * len(works)
    for _ in range(times):
        for nth, work in enumerate(works):
            begin = time.process_time()
            work()
            least[nth] = min(least[nth], time.process_time() - begin)
    return least


def table(rows: Sequence[Row]) -> str:
    """The rows as a Markdown table."""
    lines = ["| | figure | against | ratio | |", "|---|---:|---|---:|---|"]
    group = ""
    for row in rows:
        if row.group != group:
            group = row.group
            lines.append(f"| **{group}** | | | | |")
        mine, other = _short(row.figure), _short(row.peer_figure)
        lines.append(
            f"| {row.what} | {mine} {row.unit} | {row.peer}: {other} | "
            f"{_short(row.ratio)} | {row.note} |"
        )
    return "\n".join(lines) + "\n"


def write_json(rows: Sequence[Row], path: Path) -> None:
    """Write the rows, the ratios and what they were measured on."""
    said = {"machine": machine(), "rows": [asdict(row) | {"ratio": row.ratio} for row in rows]}
    path.write_text(json.dumps(said, indent=1) + "\n", encoding="utf-8")


def machine() -> str:
    """Processors, interpreter and how busy the machine was, in general terms."""
    load = f", load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    interpreter = f"{platform.python_implementation()} {platform.python_version()}"
    return f"{os.cpu_count()} processors, {interpreter}{load}"


def _short(figure: float) -> str:
    if figure == 0.0:
        return "0"
    return f"{figure:,.0f}" if abs(figure) >= 100 else f"{figure:.3g}"
