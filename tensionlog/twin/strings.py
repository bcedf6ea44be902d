"""A string: how it stretches and how it forgets its tension.

Three laws of relaxation are on offer, because an estimator that fits the first one
must not be judged on the first one alone:

* `log`       1 − r·lg(1 + t/τ), the textbook form
* `two-slope` the same with another slope after a soft break (polyester yarns)
* `ladder`    a handful of exponentials, two a decade, of uneven weight
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

DT_S = 0.001
"""Step of the mechanical model, in seconds."""

# Plausibility bands from memory: share of the pull lost per decade of time.
RELAX_PER_DECADE = {"nylon": (0.02, 0.06), "polyester": (0.03, 0.09), "gut": (0.015, 0.04)}
# From memory: tangent stiffness at tension, newtons per unit strain, by sport.
EA_N = {
    "tennis": {"nylon": (4000, 6500), "polyester": (7000, 11000), "gut": (3500, 5000)},
    "squash": {"nylon": (3000, 4500), "polyester": (5000, 7500), "gut": (2800, 4000)},
    "badminton": {"nylon": (1500, 2600), "polyester": (2400, 3400), "gut": (1400, 2000)},
}
LAWS = ("log", "two-slope", "ladder")
_RUNGS_S = tuple(float(t) for t in 10.0 ** np.arange(-1.5, 6.0, 0.5))


@dataclass(frozen=True, slots=True, kw_only=True)
class StringLaw:
    """One reel of string.

    Attributes:
        law: One of `LAWS`.
        ea_n: Tangent axial stiffness at tension, newtons per unit strain.
        relax: Share lost per decade of time at fixed length.
        tau_s: Origin of the relaxation, seconds.
        relax_late: Share per decade after the break (`two-slope`).
        break_s: Where the slope changes, seconds (`two-slope`).
        unevenness: Relative weight of each rung (`ladder`), around 1.
        stiffening: Exponent of the load curve; above 1 the string stiffens as it loads.
    """

    law: str
    ea_n: float
    relax: float
    tau_s: float
    relax_late: float
    break_s: float
    unevenness: tuple[float, ...]
    stiffening: float

    def left(self, t_s: ArrayLike) -> NDArray[np.float64]:
        """Share of the force left `t_s` seconds after a sudden stretch, any shape."""
        t = np.maximum(np.asarray(t_s, dtype=np.float64), 0.0)
        if self.law == "ladder":
            return self._ladder_left(t)
        lost = self.relax * np.log10(1.0 + t / self.tau_s)
        if self.law == "two-slope":
            lost = lost + (self.relax_late - self.relax) * np.log10(1.0 + t / self.break_s)
        return np.asarray(1.0 - lost)

    def _ladder_left(self, t: NDArray[np.float64]) -> NDArray[np.float64]:
        lost = np.zeros_like(t)
        for rung_s, weight in zip(_RUNGS_S, self.unevenness, strict=True):
            if rung_s >= 0.3 * self.tau_s:
                lost += 0.5 * self.relax * weight * (1.0 - np.exp(-t / rung_s))
        return 1.0 - lost

    def respond(self, stretch_n: NDArray[np.float64]) -> NDArray[np.float64]:
        """Force from a history of stretching, by superposition.

        Args:
            stretch_n: Force that each step of `DT_S` would add if nothing relaxed,
                newtons, shape (n,).
        """
        n = len(stretch_n)
        size = 1 << (2 * n - 1).bit_length()
        spectrum = np.fft.rfft(stretch_n, size) * _kernel_spectrum(self, size)
        return np.fft.irfft(spectrum, size)[:n]

    def truth(self) -> dict[str, float | str]:
        """What an estimator might be asked about it."""
        return {
            "law": self.law,
            "EA_N": self.ea_n,
            "relax_per_decade": self.relax,
            "tau_s": self.tau_s,
        }

    def few_rungs(self) -> tuple[tuple[float, float], ...]:
        """(time constant in s, weight), one a decade from τ on: cheap to integrate."""
        picks = self.unevenness[3:7]
        return tuple((1.5 * self.tau_s * 10.0**k, self.relax * w) for k, w in enumerate(picks))


@lru_cache(maxsize=8)
def _kernel_spectrum(string: StringLaw, size: int) -> NDArray[np.complex128]:
    kernel = string.left(np.arange(size // 2) * DT_S)
    return np.asarray(np.fft.rfft(kernel, size), dtype=np.complex128)


def draw_string(
    rng: np.random.Generator, *, sport: str, material: str = "nylon", law: str | None = None
) -> StringLaw:
    """Draw a reel of `material` for `sport`; `law` None draws that too."""
    relax = float(rng.uniform(*RELAX_PER_DECADE[material]))
    drawn = str(rng.choice(LAWS))
    return StringLaw(
        law=law or drawn,
        ea_n=float(rng.uniform(*EA_N[sport][material])),
        relax=relax,
        tau_s=float(rng.uniform(0.1, 0.3)),
        relax_late=relax * float(rng.uniform(0.6, 1.5)),
        break_s=float(100.0 * 10.0 ** rng.normal(0.0, 0.15)),
        unevenness=tuple(float(w) for w in rng.uniform(0.85, 1.15, len(_RUNGS_S))),
        stiffening=float(rng.uniform(1.0, 1.5)),
    )
