"""True sample rate, and how far the device's clock is off."""

from dataclasses import dataclass
from math import hypot

from tensionlog.device.heard import Heard

ENDS_S = 0.0015
"""No arrival is known better: a USB frame is a millisecond, a scheduler's slice another.
Two ends of a listening of 30 s are therefore good to 50 ppm, of ten minutes to 3."""

FAR_OFF = 0.2
"""A rate this share from what the device says is another setting, not a tolerance."""

MISWIRED = 1.5
"""So many times the rate that the device says: its clock or data line is miswired."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """Rate and clock.

    Attributes:
        says_hz: Rate that the device says, or None.
        device_hz: Rate by the device's own clock.
        true_hz: Rate by the host's clock; the device's own where that is too short to tell.
        ppm: Error of the device's clock against the host's, or None.
        u_ppm: Its standard uncertainty, or None.
    """

    says_hz: float | None
    device_hz: float
    true_hz: float
    ppm: float | None
    u_ppm: float | None

    @property
    def state(self) -> str:
        """`right`, `other-rate` or `miswired`."""
        if self.says_hz is None:
            return "right"
        ratio = self.device_hz / self.says_hz
        if ratio > MISWIRED:
            return "miswired"
        return "right" if abs(ratio - 1.0) <= FAR_OFF else "other-rate"


def clock_of(heard: Heard) -> Clock | None:
    """Measure rate and clock; None without samples."""
    device_hz = heard.rate_hz
    if device_hz is None:
        return None
    # A clock that is fast by 1 ppm calls a second a millionth more, so the rate seems lower.
    return Clock(
        says_hz=heard.hello.rate_hz if heard.hello else None,
        device_hz=device_hz,
        true_hz=device_hz * (1.0 + (heard.ppm or 0.0) * 1e-6),
        ppm=heard.ppm,
        u_ppm=None if heard.u_ppm is None else hypot(heard.u_ppm, _ends_ppm(heard)),
    )


def _ends_ppm(heard: Heard) -> float:
    return 1e6 * ENDS_S / max(heard.lasted_s, 1.0)
