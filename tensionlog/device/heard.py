"""What a while of listening to a device gave."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tensionlog.model.lines import Hello


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """Everything that came while somebody listened.

    Attributes:
        t_s: Device time of each sound reading of the latest start, seconds, shape (n,).
        counts: The readings, shape (n,); saturated ones are left out.
        arrived_s: Host seconds of listening that passed, in which each was here, shape (n,).
        hellos: Identities, in the order they came.
        faults: Names of faults and how often each was told, saturated codes among them.
        comments: What the device remarked.
        plain_lines: Readable lines that are none of the wire's.
        samples: Valid sample lines, saturated ones too.
        bad_lines: Lines that were not sound.
        missing: Conversions that never arrived.
        restarts: Starts seen while listening.
        bytes_read: All that came.
        lasted_s: Host time of listening.
        ppm: Error of the device's clock against the host's, or None where it is too short.
        u_ppm: Its standard uncertainty, or None.
    """

    t_s: NDArray[np.float64]
    counts: NDArray[np.float64]
    arrived_s: NDArray[np.float64]
    hellos: tuple[Hello, ...] = ()
    faults: Mapping[str, int] = field(default_factory=dict)
    comments: tuple[str, ...] = ()
    plain_lines: tuple[str, ...] = ()
    samples: int = 0
    bad_lines: int = 0
    missing: int = 0
    restarts: int = 0
    bytes_read: int = 0
    lasted_s: float = 0.0
    ppm: float | None = None
    u_ppm: float | None = None

    @property
    def hello(self) -> Hello | None:
        """The latest identity."""
        return self.hellos[-1] if self.hellos else None

    @property
    def adc_bits(self) -> int:
        """Width of the converter; 24 where nobody said."""
        return self.hello.adc_bits if self.hello and self.hello.adc_bits > 1 else 24

    @property
    def full_scale(self) -> float:
        """Greatest code."""
        return float(2 ** (self.adc_bits - 1) - 1)

    @property
    def rate_hz(self) -> float | None:
        """Conversions a second by the device's own clock, gaps left out."""
        if len(self.t_s) < 3:
            return None
        step_s = float(np.median(np.diff(self.t_s)))
        near = np.diff(self.t_s)
        near = near[near < 1.5 * step_s]
        return float(1.0 / near.mean()) if step_s > 0.0 else None

    def between(self, from_s: float, to_s: float) -> "tuple[NDArray[np.float64], ...]":
        """Times and readings that arrived between two host seconds of listening."""
        inside = (self.arrived_s >= from_s) & (self.arrived_s < to_s)
        return self.t_s[inside], self.counts[inside]
