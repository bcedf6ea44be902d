"""What reading a sitting's pulls gives: the pulls, and what they taught."""

from dataclasses import dataclass
from typing import NamedTuple

from tensionlog.pipeline.lever import Opened
from tensionlog.pulls.heads import HeadReader
from tensionlog.pulls.hold import Law
from tensionlog.pulls.measured import Measured, SmallTrace


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A pull that was read: its numbers, its samples, and the law it was read with."""

    measured: Measured
    trace: SmallTrace | None
    law: Law | None
    lever: Opened | None = None


class Lesson(NamedTuple):
    """What the pulls read so far have taught: enough to read one more by itself.

    Attributes:
        reader: The head's reader with the job's law.
        walk: Random walk of the zero, units per √s.
    """

    reader: HeadReader
    walk: float
