"""The morning check as a guide: which steps an ordinary, a weekly and a calibration have."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from tensionlog.check.setup import CheckSetup
from tensionlog.model.guide import Ask
from tensionlog.pipeline.guide import Guide, Step
from tensionlog.pipeline.guide_cell import Number, WarmUp
from tensionlog.pipeline.guide_steps import LetOff, Pull, Settle
from tensionlog.pipeline.hold_guide import hold_steps

PARTS: Final = ("cell", "head", "hold")
"""Parts of a check that can be left out."""

CALIBRATION_RUNS: Final = 3
MOUNT_PATIENCE_S: Final = 90.0
DAILY_WATCH_S: Final = 10.0
WEEKLY_WATCH_S: Final = 20.0
ANCHOR_S: Final = 25.0
SWAP_S: Final = 20.0
"""Bench time to bring the cell to the anchor, and to change the clamp between."""

HEAD_HOLD_S: Final = 3.5
"""Three seconds after the top are read, and a little more."""


def check_guide(
    setup: CheckSetup,
    *,
    full: bool,
    unit: str = "N",
    parts: Sequence[str] = PARTS,
    holds: Sequence[Step] = (),
) -> Guide:
    """The guide of one morning.

    Args:
        setup: Of the bench.
        full: Whether it is the weekly part.
        unit: Unit of the readings, `N` or `counts`.
        parts: Which of `PARTS` are made.
        holds: Steps of the hold tests that are due.

    Raises:
        CalibrationError: There is nothing to hang, or it is above the rated load.
    """
    loads = setup.weekly if full else setup.daily
    dials_n = setup.weekly_dials_n if full else setup.daily_dials_n
    steps: list[Step] = []
    if "cell" in parts:
        steps += _cell_steps(setup, loads, full=full)
    if "head" in parts:
        moves = "cell" in parts and not setup.in_place
        steps += _head_steps(dials_n, moves=moves, twice=full)
    if "hold" in parts:
        steps += holds
    return Guide(
        steps,
        unit=unit,
        first=[check_start(setup, full=full)] if "cell" in parts else [],
        last=[{"note": "check-end"}] if "cell" in parts else [],
        done="check-done",
    )


def calibration_guide(setup: CheckSetup, *, unit: str = "counts") -> Guide:
    """The guide of a full calibration: every load of the set, three times up.

    Raises:
        CalibrationError: The set does not give enough loads.
    """
    loads = setup.calibration_loads()
    setup.refuse_overload(loads)
    steps: list[Step] = [WarmUp(ask=_ask("warm-up", "warm-up", ends="time", lasts_s=40.0))]
    for run in range(1, CALIBRATION_RUNS + 1):
        steps += _loaded(setup, loads, name=f"run-{run}-", first=run == 1)
    first = {**check_start(setup, full=True), "calibration": True}
    last = {"note": "check-end"}
    return Guide(steps, unit=unit, first=[first], last=[last], done="calibration-done")


def hold_steps_for(setup: CheckSetup, clamps: Sequence[str], *, full: bool) -> list[Step]:
    """Steps of the hold tests of `clamps`; none where the set-up names no force."""
    if setup.hold_target_n is None:
        return []
    return [
        step
        for number, clamp in enumerate(clamps)
        for step in hold_steps(
            clamp=clamp,
            target_n=setup.hold_target_n,
            span_m=setup.hold_span_m,
            watch_s=WEEKLY_WATCH_S if full else DAILY_WATCH_S,
            ea_n=setup.hold_ea_n,
            u_ea_pct=setup.hold_u_ea_pct,
            mount_s=SWAP_S if number else ANCHOR_S,
        )
    ]


def check_start(setup: CheckSetup, *, full: bool) -> Mapping[str, Any]:
    """The note that begins a check; a replay reads the whole set-up from it."""
    note = {"note": "check-start", "reference": setup.reference.kind, **setup.note}
    return note | {"part": "weekly" if full else "daily"}


def _cell_steps(setup: CheckSetup, loads: Sequence[float], *, full: bool) -> Iterator[Step]:
    from tensionlog.errors import CalibrationError

    if not loads:
        raise CalibrationError(
            "this bench has no masses and no reference scale. Name them once: "
            "'tensionlog bench check --masses 5,10,20 --mass-class M2', for example."
        )
    setup.refuse_overload(loads)
    if full:
        yield WarmUp(ask=_ask("warm-up", "warm-up", ends="time", lasts_s=40.0))
    yield from _loaded(setup, loads, name="", first=True)


def _loaded(
    setup: CheckSetup, loads: Sequence[float], *, name: str, first: bool
) -> Iterator[Step]:
    """Empty, each load in turn, empty again."""
    if first:
        zero = _ask("zero", "zero", force_n=0.0, lasts_s=5.0)
        yield Settle(ask=zero, note={"note": "load", "mass_kg": 0}, tolerance=setup.tolerance)
    for number, amount in enumerate(loads, start=1):
        yield _load(setup, f"{name}load-{number}", amount)
    empty = _ask(f"{name}empty", "empty", force_n=0.0, lasts_s=10.0)
    yield Settle(ask=empty, note={"note": "load", "mass_kg": 0}, tolerance=setup.tolerance)


def _load(setup: CheckSetup, name: str, amount: float) -> Step:
    force_n = setup.force_n(amount)
    if setup.is_scale:
        values = {"wanted_n": amount, "scale_unit": setup.scale_unit}
        ask = _ask(name, "scale", ends="number", force_n=force_n, lasts_s=20.0, values=values)
        return Number(ask=ask, unit=setup.scale_unit, tolerance=setup.tolerance)
    ask = _ask(name, "hang", force_n=force_n, lasts_s=16.0, values={"mass_kg": amount})
    return Settle(ask=ask, note={"note": "load", "mass_kg": amount}, tolerance=setup.tolerance)


def _head_steps(dials_n: Sequence[float], *, moves: bool, twice: bool) -> Iterator[Step]:
    """At each dial setting one pull, or a slow and a fast one."""
    if moves:
        mount = _ask("mount", "mount", force_n=0.0, lasts_s=30.0)
        # what is carried about is no load any more
        carried = {"note": "dial"}
        yield Settle(ask=mount, note=carried, rezero=True, patience_s=MOUNT_PATIENCE_S)
    speeds = ("slow", "fast") if twice else ("slow",)
    pulls = [(set_n, speed) for set_n in dials_n for speed in speeds]
    for number, (set_n, speed) in enumerate(pulls, start=1):
        values = {"dial_n": set_n, "speed": speed}
        note = {"note": "dial", "set_N": round(set_n, 3), "speed": speed}
        ask = _ask(
            f"dial-{number}", "dial", ends="pull", force_n=set_n, lasts_s=11.0, values=values
        )
        yield Pull(ask=ask, note=note, hold_s=HEAD_HOLD_S)
        off = _ask(f"dial-{number}-off", "let-off", ends="let-off", lasts_s=3.0)
        yield LetOff(ask=off, note={"note": "dial"} if number == len(pulls) else None)


def _ask(
    step: str,
    words: str,
    *,
    ends: str = "steady",
    force_n: float | None = None,
    lasts_s: float = 0.0,
    values: Mapping[str, Any] | None = None,
) -> Ask:
    return Ask(
        step=step,
        words=words,
        ends=ends,
        force_n=force_n,
        lasts_s=lasts_s,
        values=values or {},
    )
