"""Every pull as it was recorded, with its levels and moments, ready to be drawn."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tensionlog.model.pull import Pull
from tensionlog.model.sitting import Found
from tensionlog.report.rounding import Reader, fixed
from tensionlog.report.rows import Row, rows
from tensionlog.report.view import JobView
from tensionlog.units import N_PER_UNIT

MOST_POINTS = 1500
"""More samples than this are thinned for drawing: four per pixel of a wide screen."""

BEFORE_S, AFTER_S = 0.4, 0.5
"""How much is drawn before the rise and after the let-off."""


class Mark(NamedTuple):
    """One marked moment: a symbol of its own, and what is written to it when large."""

    word: str
    symbol: str
    x_s: float
    y: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceView:
    """One pull, ready to be drawn; forces in the reader's unit, times from the rise.

    Attributes:
        name: The position.
        number: Counts the pulls from 1.
        state: A key of `words.STATE_WORDS`.
        y: Forces, shape (n,); NaN where a sample is missing, so that the line breaks.
        dx_s: Constant spacing of `y`, or None where `x_s` holds.
        x0_s: Time of the first of `y` where `dx_s` is constant.
        x_s: Times of `y`, shape (n,), or None.
        thinned_from: Samples before thinning, or None where all are drawn.
        target: Ordered level, or None.
        expected: Expected reading at the release, or None.
        marks: The marked moments.
        x_range: Shown times, seconds.
        y_range: Shown forces: the hold, not the whole ramp.
        unit: Unit of all forces.
    """

    name: str
    number: int
    state: str
    y: NDArray[np.float32]
    dx_s: float | None
    x0_s: float
    x_s: NDArray[np.float32] | None
    thinned_from: int | None
    target: float | None
    expected: float | None
    marks: tuple[Mark, ...]
    x_range: tuple[float, float]
    y_range: tuple[float, float]
    unit: str


def traces_info(view: JobView) -> tuple[TraceView, ...]:
    """Prepare every pull of the job, void ones too, in the order made."""
    reader = view.reader
    by_number = {found.number: found for found in view.pulls}
    return tuple(_trace(by_number[row.number], row, view, reader) for row in rows(view))


def _trace(found: Found, row: Row, view: JobView, reader: Reader) -> TraceView:
    pull = found.pull
    times = _times_s(found, view)
    force = reader.convert(1.0) * _force(found, view)
    inside = (times >= -BEFORE_S) & (times <= _end_s(pull) + AFTER_S)
    times, force, thinned_from = _thinned(times[inside], force[inside])
    grid = _on_grid(times, force)
    levels = [reader.convert(v) for v in (pull.peak, pull.top, pull.release) if v is not None]
    target = _level(pull.target, pull, reader)
    marks = _marks(pull, reader, _force_at(times, force, pull))
    levels += [mark.y for mark in marks]
    return TraceView(
        name=row.name,
        number=row.number,
        state=row.state,
        y=(force if grid is None else grid[1]).astype(np.float32),
        dx_s=None if grid is None else grid[0],
        x0_s=float(times[0]) if times.size else 0.0,
        x_s=times.astype(np.float32) if grid is None else None,
        thinned_from=thinned_from,
        target=target,
        expected=_level(pull.expected, pull, reader),
        marks=marks,
        x_range=(-BEFORE_S, _end_s(pull) + AFTER_S),
        y_range=_y_range(levels + ([] if target is None else [target])),
        unit=reader.unit,
    )


def _level(level: float | None, pull: Pull, reader: Reader) -> float | None:
    """A target is in newtons, and has no place among counts."""
    return None if level is None or pull.unit == "counts" else reader.convert(level)


def _times_s(found: Found, view: JobView) -> NDArray[np.float64]:
    """Seconds from the pull's own rise; a boot of unknown start begins at its first sample."""
    t_s, boot = found.trace.t_s, found.trace.boot
    if boot < len(view.boot_starts_s):
        return t_s + view.boot_starts_s[boot] - found.pull.start_s
    return t_s - (t_s[0] if t_s.size else 0.0)


def _force(found: Found, view: JobView) -> NDArray[np.float64]:
    """Samples as the pull's own numbers have them: newtons, or counts, above the idle."""
    pull, trace, header = found.pull, found.trace, view.header
    if header.is_plain:
        force = trace.counts * N_PER_UNIT.get(header.unit or "N", 1.0)
    elif header.calibration is not None and pull.unit != "counts":
        force = header.calibration.force_n(trace.counts)
    else:
        force = trace.counts
    return force - (pull.idle if pull.idle is not None else _first_level(force))


def _first_level(force: NDArray[np.float64]) -> float:
    """The empty reading that a trace begins with, where the pull does not tell it."""
    return float(np.median(force[:10])) if force.size else 0.0


def _force_at(
    times: NDArray[np.float64], force: NDArray[np.float64], pull: Pull
) -> float | None:
    """What the trace itself shows at the let-off, in the reader's unit."""
    if pull.let_off_s is None or not times.size:
        return None
    after = int(np.searchsorted(times, pull.let_off_s - pull.start_s, side="right"))
    return float(force[max(after - 1, 0)])


def _end_s(pull: Pull) -> float:
    ends = [t for t in (pull.let_off_s, pull.release_s, pull.top_s) if t is not None]
    return max(ends, default=pull.start_s + 5.0) - pull.start_s


def _on_grid(
    times: NDArray[np.float64], force: NDArray[np.float64]
) -> tuple[float, NDArray[np.float64]] | None:
    """Place samples on an even grid, missing ones as NaN; None where they do not fit one."""
    if times.size < 3:
        return None
    dx = float(np.median(np.diff(times)))
    if not dx > 0.0:
        return None
    index = np.rint((times - times[0]) / dx).astype(np.int64)
    even = np.abs(times - times[0] - index * dx).max() <= dx / 4
    if not even or np.any(np.diff(index) < 1) or index[-1] > 2 * times.size:
        return None
    filled = np.full(int(index[-1]) + 1, np.nan)
    filled[index] = force
    return dx, filled


def _thinned(
    times: NDArray[np.float64], force: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], int | None]:
    """Keep lowest and highest of each run of samples, so that no spike is lost."""
    n = times.size
    if n <= MOST_POINTS:
        return times, force, None
    run = -(-n // (MOST_POINTS // 2))
    whole = n // run * run
    blocks = force[:whole].reshape(-1, run)
    first, rest = np.arange(0, whole, run), np.arange(whole, n)
    ends = [first + blocks.argmin(1), first + blocks.argmax(1), rest]
    keep = np.unique(np.concatenate(ends))
    return times[keep], force[keep], n


def _y_range(levels: list[float]) -> tuple[float, float]:
    """From just below the lowest marked level to just above the highest."""
    low, high = min(levels, default=0.0), max(levels, default=1.0)
    room = max(high - low, 0.06 * abs(high))
    return low - 0.45 * room, high + 0.25 * room


def _marks(pull: Pull, reader: Reader, let_off: float | None) -> tuple[Mark, ...]:
    """Mark what was measured where it was measured.

    Without a seen step top and release are one reading, taken as the clamp is shut,
    just before the let-off.
    """
    moments: tuple[tuple[str, str, float | None, float | None], ...]
    if pull.release_s is not None:
        moments = (
            ("settled top", "circle", pull.release_s, pull.top),
            ("release", "diamond", pull.release_s, pull.release),
        )
    else:
        at_s = pull.let_off_s if pull.let_off_s is not None else pull.top_s
        moments = (("settled, no step seen", "diamond-open", at_s, pull.release),)
    marks = [
        _mark(said, symbol, at_s - pull.start_s, reader.convert(level), reader)
        for said, symbol, at_s, level in moments
        if at_s is not None and level is not None
    ]
    if let_off is not None and pull.let_off_s is not None:
        at_s = pull.let_off_s - pull.start_s
        marks.append(Mark("let-off", "line-ns", at_s, let_off, "let-off"))
    return tuple(marks)


def _mark(word: str, symbol: str, x_s: float, y: float, reader: Reader) -> Mark:
    return Mark(word, symbol, x_s, y, f"{word} {fixed(y, reader.decimals())} {reader.unit}")
