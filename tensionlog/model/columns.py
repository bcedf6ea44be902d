"""Many lines of the device at once, column by column."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tensionlog.model.lines import DeviceLine

Whole = NDArray[np.int64]


class Other(NamedTuple):
    """A line that is not simply a sound sample.

    Attributes:
        before: How many samples of the columns came before it.
        end: Where it ends in the bytes that were fed, as `Columns.ends` has it.
        line: What it is.
    """

    before: int
    end: int
    line: DeviceLine


class Columns(NamedTuple):
    """The lines of one piece of a stream: sound samples in columns, and all the others.

    Attributes:
        seq: Conversion numbers, shape (n,).
        t_us: Device clock in microseconds, wrapping, shape (n,).
        counts: Raw readings, shape (n,).
        ends: Where each sample's line ends in the bytes that were fed (its LF included),
            rising, shape (n,).
        others: What else there was, in order.
    """

    seq: Whole
    t_us: Whole
    counts: Whole
    ends: Whole
    others: list[Other]
