"""A hold test of a sitting: from its notes and readings to its answer."""

from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from tensionlog.errors import ClampError

if TYPE_CHECKING:
    from tensionlog.clamps.hold_result import HoldLimits, HoldResult
    from tensionlog.pipeline.tests import MadeTest

Floats = NDArray[np.float64]

CURVE_FROM_S: Final = -1.0
CURVE_TO_S: Final = 20.0
CURVE_STEP_S: Final = 0.2
"""What is kept of a test for drawing: medians of so many seconds, round the hand-off."""


def hold_answer(test: "MadeTest") -> dict[str, Any]:
    """Measure a hold test and answer it, with what a later comparison needs.

    Raises:
        ClampError: It is a test of a clamp that the bench does not have.
    """
    from tensionlog.clamps.hold import measure_hold

    clamp = _clamp(test)
    u_ea_pct = test.number("u_EA_pct")
    calibration = test.calibration
    counts = test.counts
    readings = counts if calibration is None else calibration.force_n(counts)
    target_n, limits = test.number("target_N"), _limits(test)
    result = measure_hold(
        t_s=test.t_s,
        readings=readings,
        clamp=clamp,
        target_n=np.nan if not target_n else target_n,
        span_m=test.number("span_m"),
        ea_n=test.number("EA_N"),
        u_ea_pct=30.0 if u_ea_pct is None else u_ea_pct,
        hand_off_s=test.first("hand-off"),
        re_pull_s=test.first("re-pull"),
        end_s=test.end_s,
        unit="counts" if calibration is None else "N",
        head=test.header.head,
        saturated=test.saturated,
        limits=limits,
    )
    return {
        "at": test.at,
        **result.answer(),
        "span_m": test.number("span_m"),
        "pulled_N": result.pulled if result.unit == "N" else None,
        "watch_mm": limits.watch_mm,
        "service_mm": limits.service_mm,
        "curve": _curve(test, readings, result),
    }


def _clamp(test: "MadeTest") -> str:
    clamp = str(test.body.get("clamp", "?"))
    known = test.header.raw.get("clamps")
    if isinstance(known, list) and clamp not in known:
        raise ClampError(
            f"this bench has no clamp {clamp!r}. It has {', '.join(map(str, known))}: test "
            "again with the right name."
        )
    return clamp


def _limits(test: "MadeTest") -> "HoldLimits":
    """What the bench expects of its clamps; its header says so where it is not the usual."""
    from tensionlog.clamps.hold_result import HoldLimits

    stated = test.header.raw.get("hold_limits")
    if not isinstance(stated, dict):
        return HoldLimits()
    known = {
        name: float(value)
        for name, value in stated.items()
        if name in HoldLimits.__dataclass_fields__ and isinstance(value, int | float)
    }
    return HoldLimits(**known)


def _curve(test: "MadeTest", readings: Floats, result: "HoldResult") -> dict[str, Any] | None:
    """What the cell read while the clamp held alone, in equal steps from the hand-off."""
    if result.unit != "N" or result.hand_off_s is None or result.zero is None:
        return None
    re_pull_s = test.first("re-pull")
    until_s = min(test.end_s, np.inf if re_pull_s is None else re_pull_s)
    steps = int((min(CURVE_TO_S, until_s - result.hand_off_s) - CURVE_FROM_S) / CURVE_STEP_S)
    edges = result.hand_off_s + CURVE_FROM_S + CURVE_STEP_S * np.arange(max(0, steps) + 1)
    places = np.searchsorted(test.t_s, edges)
    force = [
        round(float(np.median(readings[first:last])) - result.zero, 3) if last > first else None
        for first, last in pairwise(places)
    ]
    return {"start_s": CURVE_FROM_S, "step_s": CURVE_STEP_S, "force_N": force}
