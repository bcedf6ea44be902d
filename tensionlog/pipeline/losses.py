"""What a reading at clamp release says of the string behind it.

On opening the clamp, the head side (span L₂ = L + tail) and the held span L_b become
one; string moves only if the held span pulls less than φ times the head side:

    drop = L_b·(φ·T₁ − T_h) / (L₂ + φ·L_b)        T_h = φ·T₁ − drop·(L₂/L_b + φ)

The implied loss falls as φ grows, so the bound takes the greatest φ of the bench.
"""

from dataclasses import dataclass
from math import log10

PHI_MAX_UNMEASURED = 0.95
"""Share that passes round the frame at most, where no turn test has measured it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spans:
    """Lengths around a clamp that is being opened.

    Attributes:
        held_m: Span that the clamp held.
        pulled_m: Span being pulled.
        tail_m: From the frame to the gripper.
    """

    held_m: float
    pulled_m: float
    tail_m: float

    @property
    def ratio(self) -> float:
        """L₂/L_b."""
        return (self.pulled_m + self.tail_m) / self.held_m


def relaxed(*, share: float, tau_s: float, from_s: float, to_s: float) -> float:
    """Share of the top lost to relaxation between two times after it.

    >>> round(relaxed(share=0.04, tau_s=0.2, from_s=0.0, to_s=3.0), 4)
    0.0482
    """
    return share * (log10(1.0 + max(to_s, 0.0) / tau_s) - log10(1.0 + max(from_s, 0.0) / tau_s))


def held_force(*, top: float, drop: float, phi: float, spans: Spans) -> float:
    """Tension that the held span had, from the drop at its release."""
    return phi * top - drop * (spans.ratio + phi)


def lift_off_force(*, top: float, drop: float, spans: Spans) -> float:
    """Tension that the last string had, pulled again and let into the head.

    Only the exit grommet lies between: T_h = T₁ − drop·(L_b + D)/L_b.
    """
    return top - drop * (spans.held_m + spans.tail_m) / spans.held_m


def at_least_lost(
    *, handed_off: float, relaxed_n: float, top: float, drop: float, phi: float, spans: Spans
) -> float:
    """Force that the held span had lost at least, beyond its whole relaxation.

    Args:
        handed_off: Its own reading at the hand-off.
        relaxed_n: What relaxation took from it since.
        top: Settled reading of the string being pulled, before the clamp opens.
        drop: The step that was seen.
        phi: Upper limit of what passes round the frame.
        spans: Lengths.
    """
    return handed_off - relaxed_n - held_force(top=top, drop=drop, phi=phi, spans=spans)


def millimetres(*, force_n: float, span_m: float, ea_n: float) -> float:
    """String that was given for a loss of force: draw-in, s = ΔT·L/EA."""
    return 1e3 * force_n * span_m / ea_n


def force_of_give(*, give_mm: float, span_m: float, ea_n: float) -> float:
    """Force lost to a give: ΔT = EA·s/L."""
    return ea_n * give_mm * 1e-3 / span_m


def dead_band(*, top: float, phi: float) -> float:
    """Loss of the held span that no release can show: (1 − φ)·T₁."""
    return (1.0 - phi) * top
