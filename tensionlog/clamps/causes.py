"""Who did it: which one cause explains what all series have done since one day.

Every cause moves the series in its own way: a worn clamp one give, a soft string both
gives by one ratio and the relaxation, the cell's span the masses and the head by one per
cent. For each cause, day and shape the gain in likelihood is summed over what the cause
moves; what it leaves alone must have stayed. The cause with the greatest gain is named,
with the runner-up, once the gain is certain and the size matters; where the runner-up is
close, or what would tell them apart was not measured, the answer is that one cannot tell.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from tensionlog.clamps.series import Series
from tensionlog.clamps.shifts import Shift, Shifts, Since, kind_of, possible, shifts_of
from tensionlog.clamps.trace import Floats

CERTAIN = 6.2
"""Gain in log likelihood at which a shift is certain: on seven series over forty days of
nothing, one history in twenty gets there (simulated)."""

CLEAR = 1.5
"""By how much the cause must be ahead of the runner-up to be named."""

UNTESTED, HOPELESS = 11.0, 30.0
"""Gains at which waiting for an answer is over, where what would tell was not measured
and where two causes stay close: one cannot tell, and says so."""

PER_SIZE = 1.0
"""What each free size costs: a cause that may move more things explains more by chance."""

RARE = {
    "clamp": -0.6,
    "both-clamps": 2.5,
    "cell-zero": 0.0,
    "cell-span": 0.0,
    "head-dial": 0.0,
    "string": 1.5,
    "technique": 0.0,
    "reference": 3.0,
}
"""How much rarer than others a cause is, in log likelihood, before anything is seen: what
wears is one clamp."""


class Part(NamedTuple):
    """What a cause does to a group of series by one size.

    Attributes:
        names: The series that move together.
        sign: 1 or -1 where only that direction fits, 0 for either.
        relative: Whether the size is a share of each series' level.
        must: Whether the cause is none without it.
        least: Gain below which it is not counted.
    """

    names: tuple[str, ...]
    sign: int
    relative: bool = False
    must: bool = False
    least: float = PER_SIZE


@dataclass(frozen=True, slots=True, kw_only=True)
class Explained:
    """One cause, laid over all series since one day.

    Attributes:
        cause: Name of the cause.
        since: Day and shape under which it explains most.
        score: Gain in log likelihood, less what its freedom costs.
        moved: The series that it says have moved.
        telling: Those of them without which it would be none, group by group.
        shifts: Every series' own shift since that day.
    """

    cause: str
    since: Since
    score: float
    moved: tuple[str, ...]
    telling: tuple[tuple[str, ...], ...]
    shifts: Mapping[str, Shift]

    @property
    def is_material(self) -> bool:
        """Whether what tells it has moved by a size that matters."""
        return all(any(map(self._matters, group)) for group in self.telling)

    def _matters(self, name: str) -> bool:
        return abs(self.shifts[name].size) >= kind_of(name).material


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Who did it, as far as the series tell at one time.

    Attributes:
        cause: The cause named, or `cannot-tell`.
        best: The cause that explains most.
        runner_up: The next one, or None.
        at_s: When this was known.
        certain: Whether the shift is certain and its size matters: an alert.
    """

    cause: str
    best: Explained
    runner_up: Explained | None
    at_s: float
    certain: bool


def causes_of(names: frozenset[str]) -> dict[str, tuple[Part, ...]]:
    """Every cause that the series at hand could show, and what it moves."""
    gives = sorted(name for name in names if name.startswith("give-"))
    known: dict[str, tuple[Part, ...]] = {}
    for give in gives:
        clamp = give.removeprefix("give-")
        known[f"clamp-{clamp}"] = (Part((give,), 1, must=True), *_difference(names, clamp))
    if len(gives) > 1:
        known["both-clamps"] = tuple(Part((give,), 1, must=True) for give in gives)
    both = Part(tuple(gives), 0, relative=True)
    known |= {
        "string": (Part(("relaxation",), 0, must=True, least=3.0), both),
        # A string that stretches more costs fewer newtons; no clamp mends itself.
        "string by stretch": (both._replace(sign=-1, must=True),) if len(gives) > 1 else (),
        "cell-zero": (Part(("zero",), 0, must=True),),
        "cell-span": (Part(("span", "head"), 0, must=True),),
        "head-dial": (Part(("head",), 0, must=True),),
        "technique": (Part(("early",), 0, must=True),),
        "reference": _references(names),
        # The string that is strung most may change while the control reel does not.
        "string in jobs": (Part(("batch",), 0, must=True, least=3.0),),
    }
    kept = {cause: _at_hand(parts, names) for cause, parts in known.items()}
    return {cause: parts for cause, parts in kept.items() if parts}


def _references(names: frozenset[str]) -> tuple[Part, ...]:
    """A load that leaves the others; where there is only one it may still be that one."""
    if "reference" in names:
        return (Part(("reference",), 0, must=True), Part(("span",), 0))
    return (Part(("span",), 0, must=True),)


def _difference(names: frozenset[str], clamp: str) -> tuple[Part, ...]:
    """A − B inside jobs rises with A's give and falls with B's."""
    sign = {"A": 1, "B": -1}.get(clamp)
    return () if sign is None else (Part(("a-minus-b",), sign, least=3.5),)


def _at_hand(parts: tuple[Part, ...], names: frozenset[str]) -> tuple[Part, ...]:
    """What is left of a cause by the series at hand; nothing without what it must move."""
    kept = [p._replace(names=tuple(n for n in p.names if n in names)) for p in parts]
    if any(part.must and not part.names for part in kept):
        return ()
    return tuple(part for part in kept if part.names)


def who_did_it(series: Mapping[str, Series], at_s: float) -> Finding | None:
    """Name the cause of what the series have done up to `at_s`; None where nothing fits.

    Args:
        series: By name: `zero` (N), `span` (%), `head` (%), `give-A` … (mm),
            `relaxation` (points per decade), `a-minus-b` (mm), `early` (points),
            `reference` (%). Those not at hand are left out.
        at_s: What came later is not looked at.
    """
    known = {name: one.until(at_s) for name, one in series.items() if one.times_s}
    found = _all_explained(known, at_s)
    if not found:
        return None
    # What did not move by a size that matters explains nothing that does.
    ranked = sorted(found.values(), key=lambda e: (e.is_material, e.score), reverse=True)
    best, others = ranked[0], ranked[1:]
    runner_up = others[0] if others and others[0].score > 0.0 else None
    ahead = best.score - runner_up.score if runner_up else np.inf
    clear = ahead >= CLEAR and not _other_moves_too(best)
    needed = UNTESTED if untested(best) else (CERTAIN if clear else HOPELESS)
    certain = best.is_material and best.score >= needed
    return Finding(
        cause=best.cause if needed == CERTAIN else "cannot-tell",
        best=best,
        runner_up=runner_up,
        at_s=at_s,
        certain=certain,
    )


def _all_explained(series: Mapping[str, Series], at_s: float) -> dict[str, Explained]:
    sinces = possible(series, at_s)
    if not sinces:
        return {}
    shifts = {name: shifts_of(one, sinces, at_s) for name, one in series.items()}
    found: dict[str, Explained] = {}
    for way, parts in causes_of(frozenset(series)).items():
        cause = way.partition(" ")[0]
        explained = _explained(cause, parts, sinces, shifts)
        if explained and explained.score > getattr(found.get(cause), "score", 0.0):
            found[cause] = explained
    return found


def _explained(
    cause: str,
    parts: tuple[Part, ...],
    sinces: tuple[Since, ...],
    shifts: Mapping[str, Shifts],
) -> Explained | None:
    """The cause under the day and shape that suit it best; None where none does."""
    gains = np.stack([_gain(part, shifts) for part in parts])
    least = np.array([part.least for part in parts])[:, None]
    worth = np.where(gains > least, gains - PER_SIZE, 0.0)
    must = np.array([part.must for part in parts])
    score = np.where((worth[must] > 0.0).all(axis=0), worth.sum(axis=0), 0.0)
    best = int(np.argmax(score))
    if not score[best] > max(0.0, _rarity(cause)):
        return None
    used = [part for part, w in zip(parts, worth[:, best], strict=True) if w > 0.0]
    return Explained(
        cause=cause,
        since=sinces[best],
        score=float(score[best]) - _rarity(cause),
        moved=_names(used, shifts, best),
        telling=tuple(_names([part], shifts, best) for part in used if part.must),
        shifts={name: one.at(best) for name, one in shifts.items()},
    )


def _rarity(cause: str) -> float:
    return RARE["clamp" if cause.startswith("clamp-") else cause]


def _names(parts: Sequence[Part], shifts: Mapping[str, Shifts], place: int) -> tuple[str, ...]:
    return tuple(n for part in parts for n in part.names if np.isfinite(shifts[n].u[place]))


def _gain(part: Part, shifts: Mapping[str, Shifts]) -> Floats:
    """What the part's one size explains at best, for every day and shape, shape (k,)."""
    with np.errstate(invalid="ignore"):
        seen = [shifts[name] for name in part.names]
        scales = [np.where(one.u < np.inf, one.level, 0.0) for one in seen]
        if not part.relative:
            scales = [np.ones_like(one.u) for one in seen]
        power = sum((scale / one.u) ** 2 for scale, one in zip(scales, seen, strict=True))
        pull = sum(one.score * scale / one.u for scale, one in zip(scales, seen, strict=True))
        gain = np.where(power > 0.0, 0.5 * pull**2 / np.maximum(power, 1e-12), 0.0)
    fits: Floats = np.where(part.sign * pull < 0.0, 0.0, gain)
    return fits


def _other_moves_too(best: Explained) -> bool:
    """Whether another clamp seems to have moved as well as the one that is blamed."""
    if not best.cause.startswith("clamp-"):
        return False
    others = [best.shifts[n] for n in best.shifts if n.startswith("give-")]
    others.remove(best.shifts["give-" + best.cause.removeprefix("clamp-")])
    material = kind_of("give-").material
    return any(one.size >= material and one.size > 1.5 * one.u for one in others)


def untested(best: Explained) -> tuple[str, ...]:
    """Series that would tell the cause from another, but have no value since that day.

    A clamp is only named if the other one was tested too, a string if every clamp was, head
    or cell only if the cell was checked, both clamps only if the string's own relaxation is
    known.
    """
    needs: tuple[str, ...] = ()
    if best.cause.startswith("clamp-"):
        own = "give-" + best.cause.removeprefix("clamp-")
        needs = tuple(n for n in best.shifts if n.startswith("give-") and n != own)
    elif best.cause == "string":
        # What one test takes for the string's relaxation may be a slipping clamp's doing.
        needs = tuple(n for n in best.shifts if n.startswith("give-"))
    elif best.cause in ("head-dial", "cell-span"):
        needs = ("span",)
    elif best.cause == "both-clamps":
        needs = ("relaxation",)
    return tuple(n for n in needs if n not in best.shifts or best.shifts[n].n_after == 0)
