"""Each pull as a row: the numbers that table, figures, summary and JSON all share."""

import math
import statistics
from collections.abc import Mapping
from dataclasses import dataclass

from tensionlog.model.pull import Pull
from tensionlog.model.sitting import Found
from tensionlog.report.rounding import Reader
from tensionlog.report.view import JobView, Limits, is_force
from tensionlog.report.words import LOOK_FLAGS

SIGMAS_BELOW = 2.0
"""An unseen step is printed as below its estimate plus this many of its u."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One pull, judged. Forces in newtons, or in counts where `unit` says so.

    Attributes:
        number: Counts the pulls of the recording from 1.
        name: The position, or `#number` beyond the plan.
        pull: The pull's own numbers.
        state: A key of `words.STATE_WORDS`.
        off: Reading minus what was to be expected; None where nothing was.
        off_pct: The same in per cent of what was to be expected.
        against: What it was judged against: `expected`, `target` or None.
        loss: Target minus the reading at release; None for counts.
        loss_pct: The loss in per cent of the target.
        reading_u: One standard uncertainty of the reading, the scale's own included.
        drop_below: Upper limit of a step that was looked for and not seen.
        held_lost: What this very string lost at least once its clamp held it, as a
            later release told; None where none did.
        held_give_mm: The same as millimetres of string.
        told_by: The pull whose release told it.
        even_pct: Reading against the median of the standing mains, or crosses, per cent.
    """

    number: int
    name: str
    unit: str
    pull: Pull
    state: str
    off: float | None
    off_pct: float | None
    against: str | None
    loss: float | None
    loss_pct: float | None
    reading_u: float | None
    drop_below: float | None
    held_lost: float | None
    held_give_mm: float | None
    told_by: str | None
    even_pct: float | None

    @property
    def kind(self) -> str:
        """`main`, `cross` or `other`."""
        return {"L": "main", "R": "main", "X": "cross"}.get(self.name[0], "other")

    @property
    def stands(self) -> bool:
        """Whether this is the pull that the string was left with."""
        return self.state not in ("void", "superseded")


def rows(view: JobView) -> tuple[Row, ...]:
    """Judge every pull of the job, void ones too, in the order made."""
    last = _standing(view.pulls)
    told = _told(view.pulls)
    medians = _medians([f for f in view.pulls if last.get(_name(f)) == f.number])
    return tuple(
        _row(f, view, stands=last.get(_name(f)) == f.number, told=told, medians=medians)
        for f in view.pulls
    )


def standing(judged: tuple[Row, ...]) -> tuple[Row, ...]:
    """Only the pulls that the strings were left with."""
    return tuple(row for row in judged if row.stands)


def reading_u(pull: Pull, *, scale_u_pct: float) -> float | None:
    """One standard uncertainty of the reading at release, the scale's included."""
    if pull.release is None or pull.release_u is None:
        return None
    share = scale_u_pct / 100.0 if is_force(pull) else 0.0
    return math.hypot(pull.release_u, share * pull.release)


def vouched(at_least: float, reader: Reader) -> bool:
    """Whether a lower bound says anything: one that is printed as zero does not."""
    return at_least > 0.0 and float(reader.bare(at_least)) > 0.0


def _name(found: Found) -> str:
    return found.pull.position or f"#{found.number}"


def _standing(pulls: tuple[Found, ...]) -> dict[str, int]:
    """Number of the last sound pull of each string; one with a reading comes first.

    A lift-off is a pull of the same string and replaces what stood before it.
    """
    last: dict[str, Found] = {}
    for found in pulls:
        before = last.get(_name(found))
        if found.pull.void:
            continue
        if before is None or before.pull.release is None or found.pull.release is not None:
            last[_name(found)] = found
    return {name: found.number for name, found in last.items()}


def _told(pulls: tuple[Found, ...]) -> dict[str, Found]:
    """For each held string the release that told most about it."""
    told: dict[str, Found] = {}
    for found in pulls:
        held = found.pull.held_position
        if held is None or found.pull.void or found.pull.at_least_lost is None:
            continue
        before = told.get(held)
        if before is None or found.pull.at_least_lost > (before.pull.at_least_lost or 0.0):
            told[held] = found
    return told


def _medians(pulls: list[Found]) -> dict[bool, float]:
    """Median reading of the crosses (True) and of all others (False)."""
    readings: dict[bool, list[float]] = {}
    for found in pulls:
        if found.pull.release is not None:
            readings.setdefault(_name(found).startswith("X"), []).append(found.pull.release)
    return {cross: statistics.median(those) for cross, those in readings.items()}


def _even_pct(found: Found, medians: Mapping[bool, float]) -> float | None:
    middle, release = medians.get(_name(found).startswith("X")), found.pull.release
    return None if not middle or release is None else 100.0 * (release / middle - 1.0)


def _row(
    found: Found,
    view: JobView,
    *,
    stands: bool,
    told: Mapping[str, Found],
    medians: Mapping[bool, float],
) -> Row:
    pull, name = found.pull, _name(found)
    off, off_pct, against = _off(pull)
    teller = told.get(name) if stands else None
    give_mm = teller.pull.at_least_give_mm if teller else None
    sound = is_force(pull)
    return Row(
        number=found.number,
        name=name,
        unit=pull.unit,
        pull=pull,
        state=_state(pull, off_pct, give_mm, view.limits, stands=stands),
        off=off,
        off_pct=off_pct,
        against=against,
        loss=pull.loss if sound else None,
        loss_pct=pull.loss_pct if sound else None,
        reading_u=reading_u(pull, scale_u_pct=view.scale_u_pct),
        drop_below=_drop_below(pull),
        held_lost=teller.pull.at_least_lost if teller else None,
        held_give_mm=give_mm,
        told_by=_name(teller) if teller else None,
        even_pct=_even_pct(found, medians),
    )


def _off(pull: Pull) -> tuple[float | None, float | None, str | None]:
    against = "expected" if pull.expected is not None else "target"
    aim = pull.target if pull.expected is None else pull.expected
    if aim is None or aim <= 0.0 or pull.release is None or not is_force(pull):
        return None, None, None
    off = pull.release - aim
    return off, 100.0 * off / aim, against


def _drop_below(pull: Pull) -> float | None:
    if pull.seen or pull.drop is None or pull.drop_u is None:
        return None
    return max(pull.drop, 0.0) + SIGMAS_BELOW * pull.drop_u


def _state(
    pull: Pull,
    off_pct: float | None,
    give_mm: float | None,
    limits: Limits,
    *,
    stands: bool,
) -> str:
    if not stands:
        return "void" if pull.void else "superseded"
    gave = give_mm is not None and give_mm >= limits.give_look_mm
    if gave or any(flag in LOOK_FLAGS for flag in pull.flags):
        return "look"
    if off_pct is None:
        return "unjudged"
    if abs(off_pct) > limits.look_pct:
        return "look"
    return "off" if abs(off_pct) > limits.within_pct else "within"
