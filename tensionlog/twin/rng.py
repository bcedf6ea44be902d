"""Chance, in streams that do not disturb one another.

What the hands do must not change when the sample rate does, so each part of the bench
draws from a stream of its own that is seeded by the same number.
"""

import zlib

import numpy as np

Rng = np.random.Generator


def stream(seed: int, part: str) -> Rng:
    """Return the stream of `part` for `seed`; always the same for the same two.

    >>> stream(1, "hands").integers(100) == stream(1, "hands").integers(100)
    np.True_
    """
    return np.random.default_rng([seed, zlib.crc32(part.encode())])


def chance(rng: Rng, share: float) -> bool:
    """Draw yes with probability `share`."""
    return bool(rng.random() < share)
