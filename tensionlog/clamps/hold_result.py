"""What a hold test found: the record, its verdict and its answer."""

from dataclasses import dataclass
from math import isnan
from typing import Any

VERDICTS = ("good", "watch", "service")


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldLimits:
    """What a bench expects of its clamps, at the test's force.

    Attributes:
        watch_mm: Give from which a clamp is watched. Post and base of a sound clamp
            flex by 0.5 to 1 mm (bench experience); more is slip or a loose base.
        service_mm: Give from which it is serviced: nearly a millimetre beyond flex.
        slip_n: Size from which one sudden step makes a clamp watched.
        creep_watch_n_per_s: Creep from which it is watched: a newton in 20 s.
        creep_service_n_per_s: Creep from which it is serviced.
    """

    watch_mm: float = 1.0
    service_mm: float = 1.8
    slip_n: float = 1.0
    creep_watch_n_per_s: float = 0.05
    creep_service_n_per_s: float = 0.15


@dataclass(frozen=True, slots=True, kw_only=True)
class StickSlip:
    """One sudden step.

    Attributes:
        time_s: Seconds after the hand-off.
        size: Force lost.
        u: Standard uncertainty of the size.
    """

    time_s: float
    size: float
    u: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldResult:
    """What one clamp did in one hold test; what is not known is None.

    Forces are in `unit` above the empty reading before the pull. Every `u` is one
    standard uncertainty.

    Attributes:
        clamp: Which clamp.
        unit: `N`, or `counts` where the recording has no calibration.
        target_n: Force that the head was set to, newtons.
        problem: Why there are no numbers, one line, or None.
        why_no_mm: Why there are no millimetres, or None.
        zero: Empty reading before the pull.
        pulled: Force just before the head let off.
        held: Force 3 s after the hand-off.
        loss: Step as the clamp took over.
        creep: Loss per second beyond the string's own relaxation.
        slips: Sudden steps, in order of time.
        give_mm: Loss at the hand-off as millimetres of string: flex and slip.
        flex_mm: What the second pull gave back; None without one.
        slip_mm: The rest of the give.
        relaxation: Loss of the string per decade of time, a share of its force.
        hand_off_s: When the head began to let off, on the readings' clock.
        verdict: One of `VERDICTS`, or None with a problem or without a calibration.
        reasons: What made the verdict, in plain words.
    """

    clamp: str
    unit: str
    target_n: float
    problem: str | None = None
    why_no_mm: str | None = None
    zero: float | None = None
    pulled: float | None = None
    held: float | None = None
    u_held: float | None = None
    loss: float | None = None
    u_loss: float | None = None
    creep: float | None = None
    u_creep: float | None = None
    slips: tuple[StickSlip, ...] = ()
    give_mm: float | None = None
    u_give_mm: float | None = None
    flex_mm: float | None = None
    u_flex_mm: float | None = None
    slip_mm: float | None = None
    u_slip_mm: float | None = None
    relaxation: float | None = None
    u_relaxation: float | None = None
    hand_off_s: float | None = None
    verdict: str | None = None
    reasons: tuple[str, ...] = ()

    @property
    def loss_pct(self) -> float | None:
        """The loss in per cent of the force before it."""
        if self.loss is None or not self.pulled:
            return None
        return 100.0 * self.loss / self.pulled

    def answer(self) -> dict[str, Any]:
        """The pinned JSON form; without a calibration counts stand beside null newtons."""
        newtons = self.unit == "N"
        answered: dict[str, Any] = {"clamp": self.clamp}
        answered |= _forces(self, "N") if newtons else _no_forces("N")
        answered |= {
            "give_mm": self.give_mm,
            "u_give_mm": self.u_give_mm,
            "flex_mm": self.flex_mm,
            "slip_mm": self.slip_mm,
            "u_flex_mm": self.u_flex_mm,
            "u_slip_mm": self.u_slip_mm,
            "slips": [_slip_answer(slip, self.unit) for slip in self.slips],
            "verdict": self.verdict,
            "reasons": list(self.reasons),
            "target_N": None if isnan(self.target_n) else self.target_n,
            "loss_pct": self.loss_pct,
            "relaxation_per_decade": self.relaxation,
            "u_relaxation_per_decade": self.u_relaxation,
            "problem": self.problem,
            "why_no_mm": self.why_no_mm,
        }
        return answered if newtons else answered | _forces(self, "counts")


def _forces(result: HoldResult, unit: str) -> dict[str, float | None]:
    return {
        f"held_{unit}": result.held,
        f"u_held_{unit}": result.u_held,
        f"hand_off_loss_{unit}": result.loss,
        f"u_{unit}": result.u_loss,
        f"creep_{unit}_per_s": result.creep,
        f"u_creep_{unit}_per_s": result.u_creep,
    }


def _no_forces(unit: str) -> dict[str, float | None]:
    return _forces(HoldResult(clamp="", unit=unit, target_n=0.0), unit)


def _slip_answer(slip: StickSlip, unit: str) -> dict[str, float | None]:
    size = {"size_N": slip.size} if unit == "N" else {"size_N": None, "size_counts": slip.size}
    return {"time_s": slip.time_s, **size}


def judged(
    *,
    give_mm: float | None,
    creep_n_per_s: float,
    slips_n: tuple[float, ...],
    limits: HoldLimits,
) -> tuple[str, tuple[str, ...]]:
    """Verdict on a clamp by the values themselves, and what made it.

    >>> judged(give_mm=1.2, creep_n_per_s=0.0, slips_n=(), limits=HoldLimits())[0]
    'watch'
    """
    grades = [
        *_give_grade(give_mm, limits),
        *_creep_grade(creep_n_per_s, limits),
        *_slips_grade(slips_n, limits),
    ]
    worst = max((VERDICTS.index(grade) for grade, _ in grades), default=0)
    return VERDICTS[worst], tuple(reason for _, reason in grades)


def _give_grade(give_mm: float | None, limits: HoldLimits) -> list[tuple[str, str]]:
    if give_mm is None or give_mm < limits.watch_mm:
        return []
    if give_mm < limits.service_mm:
        return [("watch", f"gives {give_mm:.2f} mm, watched from {limits.watch_mm:.2f} mm")]
    return [("service", f"gives {give_mm:.2f} mm, serviced from {limits.service_mm:.2f} mm")]


def _creep_grade(creep: float, limits: HoldLimits) -> list[tuple[str, str]]:
    if creep <= limits.creep_watch_n_per_s:
        return []
    grade = "watch" if creep <= limits.creep_service_n_per_s else "service"
    return [(grade, f"creeps {creep:.2f} N/s beyond the string's own relaxation")]


def _slips_grade(slips_n: tuple[float, ...], limits: HoldLimits) -> list[tuple[str, str]]:
    great = [size for size in slips_n if size >= limits.slip_n]
    if not great:
        return []
    steps = "step" if len(great) == 1 else "steps"
    return [("watch", f"slips in {len(great)} sudden {steps}, the greatest {max(great):.1f} N")]
