"""What is confirmed before and after a job, each by one key, none left out unseen."""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One answer to a step.

    Attributes:
        key: Key on the keyboard.
        answer: What the note says.
        tone: `good`, `look`, or `bad` where it ends the job.
    """

    key: str
    answer: str
    tone: str = "good"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One thing to look at.

    Attributes:
        item: Names it in the note; its texts are `step.<item>` and `step.<item>.how`.
        choices: Answers; the first is what Enter gives.
        measures: Whether length and width of the head are asked for.
    """

    item: str
    choices: tuple[Choice, ...]
    measures: bool = False


SKIP: Final = Choice(key="s", answer="skipped", tone="look")
TAKEN_BACK: Final = "taken back"
ENDS_JOB: Final = ("cracked",)
"""Answers after which a frame is not strung, unless somebody answers for it by name."""

TOO_MUCH_MM: Final = 2.0
"""A head that changed by this much gave: 2 to 3 mm is too much (common practice)."""


def _ok(answer: str, *more: Choice) -> tuple[Choice, ...]:
    return (Choice(key="Enter", answer=answer), *more, SKIP)


BEFORE: Final = (
    Step(item="old-strings", choices=_ok("cut", Choice(key="o", answer="none in it"))),
    Step(item="head-before", choices=_ok("measured"), measures=True),
    Step(
        item="frame",
        choices=_ok(
            "sound",
            Choice(key="h", answer="chipped paint", tone="look"),
            Choice(key="x", answer="cracked", tone="bad"),
        ),
    ),
    Step(
        item="grommets",
        choices=_ok("sound", Choice(key="w", answer="worn, replaced", tone="look")),
    ),
    Step(item="supports", choices=_ok("firm")),
    Step(item="arms", choices=_ok("locked")),
)
"""Before the first string; the order is that of the hands."""

BETWEEN: Final = Step(item="arms-again", choices=_ok("locked"))
"""After the mains, before the first cross."""

AFTER: Final = (
    Step(
        item="weave-left", choices=_ok("right", Choice(key="e", answer="an error", tone="look"))
    ),
    Step(
        item="weave-right",
        choices=_ok("right", Choice(key="e", answer="an error", tone="look")),
    ),
    Step(item="straight", choices=_ok("straight")),
    Step(item="tails", choices=_ok("cut")),
    Step(item="supports-off", choices=_ok("released")),
    Step(item="head-after", choices=_ok("measured"), measures=True),
)
"""After the last string, before the slip."""

STEPS: Final = {step.item: step for step in (*BEFORE, BETWEEN, *AFTER)}
