"""A pull, and a whole recording, in plain words for the terminal."""

from collections.abc import Iterator

from tensionlog.cli.say import one_line
from tensionlog.model.pull import Pull
from tensionlog.model.sitting import Found, Ledger
from tensionlog.pipeline.sitting import Whole
from tensionlog.report.lever_words import lever_words
from tensionlog.report.words import flag_words, plural
from tensionlog.units import from_newtons

SHOWN_FROM_N = 0.05
"""A bound that would print as 0.0 accuses nobody."""


def pull_line(found: Found, *, unit: str = "N") -> str:
    """One line for one pull: position, reading, target, loss, what the string behind lost.

    Args:
        found: The pull in its place.
        unit: Unit of the reader's choice; readings that are counts stay counts.
    """
    pull = found.pull
    name = pull.position or "-"
    name = f"{name} lift-off" if pull.kind == "lift-off" else name
    head = f"{found.number:4d}  {name:<4}  {_reading(pull, unit)}"
    more = [*_behind(pull, unit), *map(flag_words, pull.flags)]
    more += ["made again"] if pull.void else []
    return one_line_kept("; ".join([head, *more]))


def one_line_kept(text: str) -> str:
    """The text without what could move a cursor, its spaces as they are."""
    return "".join(c if c.isprintable() else "?" for c in text)


def recording_lines(whole: Whole, *, name: str, unit: str = "N") -> str:
    """A recording as its head line, its pulls and its tests."""
    return "\n".join(_recording_lines(whole, name, unit))


def ledger_text(ledger: Ledger) -> str:
    """What the line lost, in one sentence without its stop.

    >>> ledger_text(Ledger(samples=80, seconds=1.0, bad_lines=1, missing=2))
    '80 samples in 1.0 s, 2 missing, 1 bad line'
    """
    missing = (
        "no numbers to tell what is missing"
        if ledger.missing is None
        else (f"{ledger.missing} missing")
    )
    said = [f"{ledger.samples} samples in {ledger.seconds:.1f} s", missing]
    said.append(plural(ledger.bad_lines, "bad line"))
    if ledger.restarts:
        said.append(plural(ledger.restarts, "restart"))
    said += [f"{times} {one_line(fault)}" for fault, times in sorted(ledger.faults.items())]
    return ", ".join(said)


def _recording_lines(whole: Whole, name: str, unit: str) -> Iterator[str]:
    header = whole.header
    yield f"{one_line(name)}: {header.purpose}, {ledger_text(whole.ledger)}."
    for found in whole.found:
        yield pull_line(found, unit=unit)
    if whole.levers is not None:
        yield f"  {lever_words(whole.levers)}"
    for kind in ("check", "hold"):
        answer = getattr(whole.tests, kind)
        if answer is not None:
            yield f"  {kind}: {answer.get('verdict') or 'no verdict'}"


def _reading(pull: Pull, unit: str) -> str:
    if pull.release is None:
        return "no reading at a clamp release"
    if pull.unit != "N":
        return f"reading {pull.release:.0f} counts"
    said = [f"reading {_force(pull.release, unit)}"]
    if pull.target is not None and pull.loss is not None:
        said.append(f"target {_force(pull.target, unit)}")
        said.append(f"loss {_force(pull.loss, unit)} ({pull.loss_pct or 0.0:.1f} %)")
    return ", ".join(said)


def _behind(pull: Pull, unit: str) -> Iterator[str]:
    held = pull.held_position
    if held is None or pull.drop is None or pull.unit != "N":
        return
    if pull.at_least_lost is not None and pull.at_least_lost < SHOWN_FROM_N:
        yield f"{held} behind: a step, no more than relaxation explains"
    elif pull.at_least_lost is not None:
        give = pull.at_least_give_mm
        shown = "" if give is None else f" ({give:.2f} mm)"
        yield f"{held} behind had lost at least {_force(pull.at_least_lost, unit)}{shown}"
    elif pull.seen:
        yield f"{held} behind: step of {_force(pull.drop, unit)}"
    else:
        yield f"{held} behind: no step seen (u {_doubt(pull.drop_u or 0.0, unit)})"


def _doubt(force_n: float, unit: str) -> str:
    """An uncertainty, with the digits that it needs not to read as none."""
    return f"{from_newtons(force_n, unit):.2g} {unit}"


def _force(force_n: float, unit: str) -> str:
    return f"{from_newtons(force_n, unit):.1f} {unit}"
