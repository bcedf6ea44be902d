"""What a guided test says and asks: values that a terminal, a page and a twin all read.

A guide knows no terminal, no page and no clock of its own. It is told readings and keys,
and gives these values; whoever shows it puts words and sounds to them
(`tensionlog.report.guide_words`), and writes a `Write` into the recording.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final, NamedTuple

ENDS: Final = ("steady", "pull", "let-off", "time", "key", "number")
"""What ends an ask: a steady reading, a pull held long enough, the head letting off, time
alone, the operator's key, or a number that the operator gives."""

KEYS: Final = ("next", "again", "skip", "stop")
"""What an operator may say: it is done, make this one again, leave it out, break off."""

STATES: Final = ("waiting", "settling", "steady")


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """What the operator shall do now.

    Attributes:
        step: Names the step within the test, such as `load-2`.
        number: Which step, from 1.
        of: How many steps the test has.
        words: Key of the sentence.
        values: What the sentence names; forces in newtons, masses in kilograms.
        ends: One of `ENDS`.
        force_n: Force that is expected on the cell, or None.
        lasts_s: Bench time that such a step usually takes, seconds.
    """

    step: str
    number: int = 1
    of: int = 1
    words: str
    values: Mapping[str, Any] = field(default_factory=dict)
    ends: str = "steady"
    force_n: float | None = None
    lasts_s: float = 0.0

    def __post_init__(self) -> None:
        """Refuse an end that nobody would wait for."""
        if self.ends not in ENDS:
            raise ValueError(f"an ask ends by one of {', '.join(ENDS)}, not {self.ends!r}")


class Reading(NamedTuple):
    """The cell as it reads now; a few times a second.

    Attributes:
        step: Of the ask that it belongs to.
        t_s: Device time, seconds from the recording's first sample.
        value: The reading in `unit`, empty cell taken off where it is known.
        unit: `N` or `counts`.
        state: One of `STATES`.
        share: How far the step has come, 0 to 1; None where that is not known.
    """

    step: str
    t_s: float
    value: float
    unit: str
    state: str
    share: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Took:
    """A step is done: what was captured.

    Attributes:
        step: Of the ask.
        words: Key of the sentence.
        values: What the sentence names.
        value: What was read, or None where nothing is read.
        u: Its standard uncertainty, or None.
        unit: `N` or `counts`.
        took_s: Bench time that the step took, seconds.
    """

    step: str
    words: str
    values: Mapping[str, Any] = field(default_factory=dict)
    value: float | None = None
    u: float | None = None
    unit: str = "N"
    took_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """Something is not as it must be; the ask still stands.

    Attributes:
        step: Of the ask.
        words: Key of the sentence.
        values: What the sentence names.
        stops: Whether the test cannot go on and ends here, incomplete.
    """

    step: str
    words: str
    values: Mapping[str, Any] = field(default_factory=dict)
    stops: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """The guide is at its end.

    Attributes:
        words: Key of the sentence.
        values: What the sentence names.
        complete: Whether every part was made; False where it was broken off.
        took_s: Bench time from the first ask, seconds.
    """

    words: str
    values: Mapping[str, Any] = field(default_factory=dict)
    complete: bool = True
    took_s: float = 0.0


class Write(NamedTuple):
    """A note to be written into the recording.

    Attributes:
        body: The note without its `at`.
        ago_s: How long before now it acts, seconds.
    """

    body: Mapping[str, Any]
    ago_s: float = 0.0


Said = Ask | Reading | Took | Refused | Done
Out = Said | Write
