"""What of a reading can be trusted: saturated codes and spikes out, the noise measured."""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_REACH: Final = 3
"""Samples either side that a spike is compared with: it outlasts a burst of three."""

_SPIKE_SD: Final = 8.0
"""A sample this many noise deviations off its neighbours' median is a spike. A swinging
mass moves the median along with it; a mass being hung does not stay in any window."""

_CHUNK: Final = 40
"""Samples whose noise is judged together."""


class Clean(NamedTuple):
    """Samples that count, and what was left out.

    Attributes:
        t_s: Times, shape (m,).
        reading: Readings, shape (m,), in the unit that came in.
        saturated: Samples left out because the converter was at its end.
        spikes: Samples left out because their neighbours contradict them.
    """

    t_s: Floats
    reading: Floats
    saturated: int
    spikes: int


def clean(*, t_s: Floats, counts: Floats, adc_bits: int | None) -> Clean:
    """Leave out what is no reading: not finite, saturated, or a spike.

    Args:
        t_s: Sample times, seconds, shape (n,).
        counts: Raw readings, shape (n,).
        adc_bits: Width of the converter, or None where saturation cannot be known.
    """
    finite = np.isfinite(counts) & np.isfinite(t_s)
    railed = finite & _is_railed(counts, adc_bits)
    t, x = t_s[finite & ~railed], counts[finite & ~railed]
    spike = is_spike(x)
    return Clean(t[~spike], x[~spike], int(railed.sum()), int(spike.sum()))


def _is_railed(counts: Floats, adc_bits: int | None) -> NDArray[np.bool_]:
    if adc_bits is None:
        return np.zeros(len(counts), dtype=np.bool_)
    rail = 2.0 ** (adc_bits - 1)
    return (counts >= rail - 1) | (counts <= -rail)


def is_spike(x: Floats) -> NDArray[np.bool_]:
    """Which samples their neighbours contradict, shape (n,)."""
    if len(x) < 2 * _REACH + 1:
        return np.zeros(len(x), dtype=np.bool_)
    padded = np.pad(x, _REACH, mode="reflect")
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * _REACH + 1)
    middle = np.median(around, axis=1)
    # the spread of the neighbours themselves keeps a steep hand-over from counting as spikes
    local = np.median(np.abs(around - middle[:, None]), axis=1)
    off: NDArray[np.bool_] = np.abs(x - middle) > _SPIKE_SD * (local + noise_sd(x))
    return off


def noise_sd(x: Floats) -> float:
    """Standard deviation of one sample's own noise, in the unit of `x`.

    From second differences, which a level and a slope do not reach, in the quieter half
    of the chunks, which a swinging mass does not reach.
    """
    if len(x) < 8:
        return 0.0
    second = x[:-2] - 2 * x[1:-1] + x[2:]
    whole = len(second) // _CHUNK
    if not whole:
        return float(np.median(np.abs(second)) / 0.6745 / np.sqrt(6))
    chunks = np.abs(second[: whole * _CHUNK].reshape(whole, _CHUNK))
    scale = np.sort(np.median(chunks, axis=1))[: max(1, (whole + 1) // 2)]
    return float(np.median(scale) / 0.6745 / np.sqrt(6))


def resolution(x: Floats) -> float:
    """Smallest step between two readings, in the unit of `x`; 0 where all are equal."""
    steps = np.diff(np.unique(x))
    return float(steps.min()) if len(steps) else 0.0
