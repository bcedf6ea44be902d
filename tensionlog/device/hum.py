"""The mains in the readings: a line in the spectrum, folded down by the sample rate.

At 80 readings a second 50 Hz looks like 30 Hz and 60 Hz like 20 Hz. The readings are
therefore set against a wave of the mains' own frequency at the times they were taken, gaps
and all; the sampling folds both alike. A real vibration at the folded frequency looks the
same: another rate would tell them apart.
"""

from dataclasses import dataclass
from math import log

import numpy as np
from numpy.typing import NDArray

from tensionlog.device.spikes import STANDS_OUT, away_of

MAINS_HZ = (50.0, 60.0)
HARMONICS = (1, 2, 3)
"""A transformer's field hums at the mains' frequency, a rectifier's at its multiples."""

STRAYS_HZ = 0.3
"""How far the mains' frequency and the device's clock together may be off."""

FALSE_ALARM = 1e-4
"""Chance that noise alone is called a hum."""

SLOWEST_HZ = 1.5
"""What folds down to less looks like drift and cannot be told from it."""

LEAST = 64
"""Fewer readings have no spectrum."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hum:
    """A line of the mains.

    Attributes:
        mains_hz: Whose mains: 50 or 60.
        at_hz: Frequency of the line itself, such as 50 or 100.
        looks_like_hz: Where it stands in these readings.
        amplitude: Height of the wave, in the readings' unit.
        share: Its power against that of all noise, 0 to 1.
        could_be_hz: Other lines of the mains that would stand in the same place.
    """

    mains_hz: float
    at_hz: float
    looks_like_hz: float
    amplitude: float
    share: float
    could_be_hz: tuple[float, ...]


def folded_hz(frequency_hz: float, *, rate_hz: float) -> float:
    """Where a frequency stands in readings taken at this rate.

    >>> folded_hz(50.0, rate_hz=80.0), folded_hz(60.0, rate_hz=80.0)
    (30.0, 20.0)
    """
    rest = frequency_hz % rate_hz
    return min(rest, rate_hz - rest)


def hidden_mains_hz(rate_hz: float) -> tuple[float, ...]:
    """Mains frequencies that this rate folds down to where drift is."""
    return tuple(f for f in MAINS_HZ if folded_hz(f, rate_hz=rate_hz) < SLOWEST_HZ)


def hum_of(t_s: NDArray[np.float64], y: NDArray[np.float64], *, rate_hz: float) -> Hum | None:
    """The strongest line of the mains that noise alone would not make, or None.

    Args:
        t_s: True times of the readings, shape (n,).
        y: Readings of an unloaded cell, shape (n,).
        rate_hz: Readings a second.
    """
    still = _still(y, rate_hz=rate_hz)
    if len(still) < LEAST:
        return None
    windowed = still * np.hanning(len(still))
    floor = _floor(windowed, rate_hz=rate_hz)
    lines = [f * k for f in MAINS_HZ for k in HARMONICS]
    seen = [f for f in lines if folded_hz(f, rate_hz=rate_hz) >= SLOWEST_HZ]
    grid_hz = _grid_hz(float(t_s[-1] - t_s[0]))
    limit = log(max(1, len(seen)) * len(grid_hz) / FALSE_ALARM)
    powers = _powers(t_s, windowed, seen, grid_hz)
    if not powers or floor <= 0.0 or max(powers.values()) < limit * floor:
        return None
    return _hum(powers, still, rate_hz=rate_hz)


def _hum(powers: dict[float, float], still: NDArray[np.float64], *, rate_hz: float) -> Hum:
    best = max(powers, key=lambda f: powers[f])
    place = folded_hz(best, rate_hz=rate_hz)
    same = [f for f in powers if abs(folded_hz(f, rate_hz=rate_hz) - place) < STRAYS_HZ]
    at_hz = min(same)  # of lines in one place the lowest is the likeliest
    amplitude = 2.0 * float(np.sqrt(powers[best])) / float(np.hanning(len(still)).sum())
    return Hum(
        mains_hz=next(f for f in MAINS_HZ if at_hz % f == 0.0),
        at_hz=at_hz,
        looks_like_hz=folded_hz(at_hz, rate_hz=rate_hz),
        amplitude=amplitude,
        share=min(1.0, amplitude**2 / 2.0 / max(float(np.var(still)), 1e-12)),
        could_be_hz=tuple(sorted(f for f in same if f != at_hz)),
    )


def _still(y: NDArray[np.float64], *, rate_hz: float) -> NDArray[np.float64]:
    """Readings without spikes and without their slow part."""
    if len(y) < LEAST:
        return y
    away, spread = away_of(y)
    smooth = y.copy()
    smooth[2:-2] -= np.where(np.abs(away) > STANDS_OUT * spread, away, 0.0)
    width = max(3, round(rate_hz)) | 1
    padded = np.pad(smooth, width // 2, mode="edge")
    return np.asarray(smooth - np.convolve(padded, np.full(width, 1.0 / width), "valid"))


def _grid_hz(lasted_s: float) -> NDArray[np.float64]:
    """Strays to look at, finely enough that no line falls between two."""
    n = max(1, round(STRAYS_HZ * max(lasted_s, 1.0) / 0.6))
    return np.linspace(-STRAYS_HZ, STRAYS_HZ, 2 * n + 1)


def _floor(y: NDArray[np.float64], *, rate_hz: float) -> float:
    """Mean power of the noise alone, by the median over the spectrum (ln 2 of the mean)."""
    power = np.abs(np.fft.rfft(y)) ** 2
    from_bin = int(np.ceil(SLOWEST_HZ * len(y) / rate_hz))
    return float(np.median(power[from_bin:])) / log(2.0)


def _powers(
    t_s: NDArray[np.float64],
    y: NDArray[np.float64],
    lines_hz: list[float],
    grid_hz: NDArray[np.float64],
) -> dict[float, float]:
    """Greatest power about each line; strays are the same turns for all of them."""
    strays = np.exp(-2j * np.pi * np.outer(grid_hz, t_s))
    turned = {f: strays @ (y * np.exp(-2j * np.pi * f * t_s)) for f in lines_hz}
    return {f: float((np.abs(wave) ** 2).max()) for f, wave in turned.items()}
