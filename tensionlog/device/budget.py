"""The noise a bench must have, worked from the converter's nanovolts to newtons.

    signal for one newton     S·U/F        S mV/V at rated load F, excitation U
    bridge (Johnson)          √(4·k·T·R·B)  B = half the rate: one conversion averages 1/rate
    converter                 its own figure at this rate, referred to its input
    steps                     q/√12        q: volts of one count

They are independent, so their squares add. What is measured above that comes from the
mounting, the cable, the mains or the motor; below it, from a bridge that is not there.
"""

from dataclasses import dataclass
from math import hypot, sqrt

from tensionlog.errors import UsageError

BOLTZMANN_J_PER_K = 1.380649e-23
"""Exact since 2019 (SI)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """The parts that the noise comes from.

    Attributes:
        sensitivity_mv_per_v: Output of the cell at its rated load, millivolts a volt.
        rated_n: Rated load.
        excitation_v: Voltage across the bridge.
        bridge_ohm: Resistance of the bridge's output.
        converter_nv: Noise of one conversion referred to the input, nanovolts rms, at
            `rate_hz`; of the converter's data sheet.
        range_mv: Half of the converter's input range: what the greatest code stands for.
        adc_bits: Width of the converter, sign included.
        rate_hz: Conversions a second.
        kelvin: Temperature of the bridge.
    """

    sensitivity_mv_per_v: float
    rated_n: float
    excitation_v: float
    bridge_ohm: float = 350.0
    converter_nv: float
    range_mv: float
    adc_bits: int = 24
    rate_hz: float = 80.0
    kelvin: float = 293.0

    def __post_init__(self) -> None:
        for name in ("sensitivity_mv_per_v", "rated_n", "excitation_v", "range_mv", "rate_hz"):
            value = getattr(self, name)
            if not 0.0 < value < float("inf"):
                raise UsageError(f"{name} must be above 0, not {value!r}.")
        if self.converter_nv < 0.0:
            raise UsageError(f"converter_nv cannot be below 0, not {self.converter_nv!r}.")

    @property
    def nv_per_n(self) -> float:
        """Signal for one newton, nanovolts."""
        return 1e6 * self.sensitivity_mv_per_v * self.excitation_v / self.rated_n

    @property
    def nv_per_count(self) -> float:
        """Voltage of one count, nanovolts."""
        return float(1e6 * self.range_mv / 2 ** (self.adc_bits - 1))

    @property
    def counts_per_n(self) -> float:
        """Counts for one newton."""
        return self.nv_per_n / self.nv_per_count


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """Noise of one reading, part by part, in newtons.

    Attributes:
        bridge_n: Thermal noise of the bridge.
        converter_n: Noise of the converter.
        steps_n: Of its steps.
        counts_per_n: Counts for one newton.
    """

    bridge_n: float
    converter_n: float
    steps_n: float
    counts_per_n: float

    @property
    def total_n(self) -> float:
        """Standard deviation of one reading."""
        return hypot(self.bridge_n, self.converter_n, self.steps_n)

    @property
    def total_counts(self) -> float:
        """The same in counts."""
        return self.total_n * self.counts_per_n


def budget_of(parts: Parts) -> Budget:
    """Work the budget.

    >>> parts = Parts(sensitivity_mv_per_v=2.0, rated_n=500.0, excitation_v=5.0,
    ...               converter_nv=90.0, range_mv=19.5)
    >>> round(parts.nv_per_n), round(budget_of(parts).total_n, 4)
    (20000, 0.0046)
    """
    johnson_v = sqrt(
        4.0 * BOLTZMANN_J_PER_K * parts.kelvin * parts.bridge_ohm * parts.rate_hz / 2.0
    )
    return Budget(
        bridge_n=johnson_v * 1e9 / parts.nv_per_n,
        converter_n=parts.converter_nv / parts.nv_per_n,
        steps_n=parts.nv_per_count / sqrt(12.0) / parts.nv_per_n,
        counts_per_n=parts.counts_per_n,
    )
