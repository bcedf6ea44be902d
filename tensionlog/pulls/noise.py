"""How noisy a trace is, and which single samples are not the force's doing."""

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.order import median, median_of_four, median_of_nine, median_of_three

Floats = NDArray[np.float64]

CREST = 5
"""So many samples on either side of the greatest may belong to a sharp crest."""


def white_noise(y: Floats) -> float:
    """Standard deviation of one sample, from second differences, in the unit of `y`.

    Second differences leave a straight line and slow relaxation out, and the median
    leaves steps and spikes out. Shape (n,); fewer than five samples give 0.
    """
    if len(y) < 5:
        return 0.0
    second = y[2:] - 2.0 * y[1:-1] + y[:-2]
    return float(1.4826 * median(np.abs(second - median(second))) / np.sqrt(6.0))


def without_spikes(y: Floats, noise: float) -> tuple[Floats, NDArray[np.bool_]]:
    """Replace samples that stand out from what is on both sides of them.

    Single ones first, by their neighbours; then small clusters, by the medians of four
    samples on either side. A dip that a motor makes good has a sharp lowest sample too:
    what stands out less than three times the steps around it is the force's doing and
    stays.

    Returns:
        The cleaned copy, and which samples were replaced, both of shape (n,).
    """
    if len(y) < 13:
        return y.copy(), np.zeros(len(y), dtype=bool)
    clean, odd = _without_single(y, noise)
    middle = clean.copy()
    middle[4:-4] = median_of_nine(clean)
    cluster = (
        np.abs(clean - middle) > np.maximum(20.0 * noise, 4.0 * _step_across(clean)) + 1e-9
    )
    return np.where(cluster, middle, clean), odd | cluster


def with_crest(y: Floats, clean: Floats, noise: float, *, first: int, last: int) -> Floats:
    """The cleaned readings with the sharp crest of a rise put back.

    A head that locks lets the force spring back at once: the three samples of such a crest
    look like a cluster that stands out, but they are the force's doing.

    Args:
        y: Readings with spikes, shape (n,).
        clean: The same without spikes and clusters, shape (n,).
        noise: Standard deviation of one reading.
        first: Where the rise begins.
        last: Where the hold ends.
    """
    at = first + int(clean[first : last + 1].argmax())
    low, high = max(0, at - 4 * CREST), at + 4 * CREST + 1
    single, _ = _without_single(y[low:high], noise)
    crest = slice(max(0, at - CREST), at + CREST + 1)
    whole = clean.copy()
    whole[crest] = single[crest.start - low : crest.stop - low]
    return whole


def _without_single(y: Floats, noise: float) -> tuple[Floats, NDArray[np.bool_]]:
    """Single samples that stand out replaced, and which, both of shape (n,)."""
    middle = y.copy()  # the ends stay
    middle[1:-1] = median_of_three(y)
    odd = np.abs(y - middle) > np.maximum(8.0 * noise, 3.0 * _steps_beside(y)) + 1e-9
    return np.where(odd, middle, y), odd


def _steps_beside(y: Floats) -> Floats:
    """Greatest step next to each sample and across it, its own left out, shape (n,)."""
    step = np.abs(np.diff(y))
    out = np.zeros(len(y))
    out[2:-2] = np.maximum(step[:-3], step[3:])
    out[1:-1] = np.maximum(out[1:-1], np.abs(y[2:] - y[:-2]))
    return out


def _step_across(y: Floats) -> Floats:
    """Difference of the medians of four samples before and after each, shape (n,)."""
    medians = median_of_four(y)
    out = np.full(len(y), np.inf)
    out[5:-5] = np.abs(medians[7:] - medians[:-7])
    return out


def wander(times_s: Floats, levels: Floats, u_levels: Floats) -> float:
    """Random-walk rate of the zero, units per √s, from the job's empty readings.

    The squared difference of two neighbouring empty readings is their own variance
    plus the rate squared times the time between; the median over the job keeps a
    re-hung gripper out. Zero where the readings agree better than they should, and
    where there are fewer than six.
    """
    if len(levels) < 6:
        return 0.0
    gap = np.diff(times_s)
    # the median of a chi-square with one degree of freedom is 0.4549
    variance = np.diff(levels) ** 2 / 0.4549
    excess = variance - (u_levels[1:] ** 2 + u_levels[:-1] ** 2)
    rate_squared = float(np.median(excess / np.maximum(gap, 1e-3)))
    return float(np.sqrt(max(rate_squared, 0.0)))
