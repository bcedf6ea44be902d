"""A clamp: a post that bends, jaws that let string through, wear that makes it worse."""

from dataclasses import dataclass, replace

from tensionlog.twin.rng import Rng

REFERENCE_N = 250.0
"""Force at which `slip_mm` is stated."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Clamp:
    """One clamp and its state.

    Attributes:
        name: `A`, `B`, …
        stiffness_n_per_mm: Of post and base together.
        returns: Share of the flex that comes back when the next pull loads it.
        slip_mm: Typical slip at `REFERENCE_N` as it takes over, new.
        scatter: Standard deviation of ln(slip).
        wear_mm_per_use: What each use adds to the typical slip.
        uses: Times used since it was last cleaned.
        creep_mm_per_s: Slow run of the base.
        steps_per_s: How often it lets go in a sudden small step.
        step_mm: Typical size of such a step.
    """

    name: str
    stiffness_n_per_mm: float = 200.0
    returns: float = 0.95
    slip_mm: float = 0.15
    scatter: float = 0.25
    wear_mm_per_use: float = 0.0
    uses: int = 0
    creep_mm_per_s: float = 0.0
    steps_per_s: float = 0.0
    step_mm: float = 0.1

    def typical_slip_mm(self, force_n: float) -> float:
        """Median slip as it takes over `force_n`."""
        return (self.slip_mm + self.wear_mm_per_use * self.uses) * force_n / REFERENCE_N

    def take_over(self, rng: Rng, *, force_n: float) -> float:
        """Draw the slip, in millimetres, as it takes over `force_n`."""
        return self.typical_slip_mm(force_n) * float(rng.lognormal(0.0, self.scatter))

    def flex_mm(self, net_n: float) -> float:
        """Bend under the difference of the forces on its two sides."""
        return net_n / self.stiffness_n_per_mm

    def stick_slips_mm(self, rng: Rng, *, seconds: float) -> list[tuple[float, float]]:
        """Draw (seconds after the take-over, millimetres) of its sudden steps."""
        count = int(rng.poisson(self.steps_per_s * seconds))
        times = sorted(float(t) for t in rng.uniform(0.0, seconds, count))
        return [(t, self.step_mm * float(rng.lognormal(0.0, 0.3))) for t in times]

    def truth(self) -> dict[str, float]:
        """What an estimator might be asked about it."""
        return {
            "slip_mm_at_250N": self.typical_slip_mm(REFERENCE_N),
            "flex_mm_at_250N": self.flex_mm(REFERENCE_N),
            "creep_mm_per_s": self.creep_mm_per_s,
        }

    def used(self, times: int = 1) -> "Clamp":
        """Return the clamp after `times` more uses."""
        return replace(self, uses=self.uses + times)

    def cleaned(self) -> "Clamp":
        """Return the clamp with clean jaws: wear and stick-slip gone."""
        return replace(self, uses=0, creep_mm_per_s=0.0, steps_per_s=0.0)


def draw_clamp(rng: Rng, name: str) -> Clamp:
    """Draw a sound clamp."""
    return Clamp(
        name=name,
        stiffness_n_per_mm=float(rng.uniform(150.0, 250.0)),
        returns=float(rng.uniform(0.9, 1.0)),
        slip_mm=float(rng.uniform(0.08, 0.25)),
        scatter=float(rng.uniform(0.15, 0.35)),
    )
