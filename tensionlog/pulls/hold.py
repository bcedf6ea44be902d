"""What a hold says, whatever the head; and what is known of a string before it is read."""

from dataclasses import dataclass

SHUT_BEFORE_S = 0.13
"""The clamp is shut about this long before the head lets go (common practice, no source)."""

SEEN_RATIO = 4.5
"""A step is told from zero at this many of its own uncertainties: the best of some
hundred moments is looked at, and the greatest of so many noise steps reaches 3.5."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Law:
    """What is known of a job's relaxation before a hold is looked at.

    Attributes:
        tau_s: Origin of the law, seconds.
        u_ln_tau: Standard uncertainty of its logarithm for one hold.
        share: Loss per decade as a share of the level: nylon 2–6 %, polyester 3–9 %,
            gut 1.5–4 % (plausibility bands, from memory) until the job has shown its own.
        u_share: Standard uncertainty of it for one hold.
        converter: Averages that the converter makes, in conversions; None: not known yet.
    """

    tau_s: float = 0.2
    u_ln_tau: float = 0.6
    share: float = 0.045
    u_share: float = 0.03
    converter: tuple[float, ...] | None = None

    def slope(self, level: float) -> float:
        """Expected slope of the law per decade of time, negative."""
        return -self.share * level


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """What a hold says, whatever the head.

    Attributes:
        top: Settled reading just before the clamp opens (or is shut, if not seen).
        release: The reading at clamp release.
        u_release: One standard uncertainty of it.
        at_3s: The law three seconds after the top, or None.
        drop: The step, or None where it cannot be measured.
        u_drop: One standard uncertainty of it.
        seen: Whether it is told from zero.
        release_s: When the force begins to fall; None if not seen.
        converter: Averages that the converter makes, where the fall shows them.
        share: Loss per decade as a share of the level, or None.
        tau_s: The law's origin as fitted, or None.
        misfit: Root of the reduced chi-square; well above 1 something else went on.
    """

    top: float
    release: float
    u_release: float
    at_3s: float | None
    drop: float | None
    u_drop: float | None
    seen: bool
    release_s: float | None
    converter: tuple[float, ...] | None = None
    share: float | None = None
    tau_s: float | None = None
    misfit: float = 1.0
