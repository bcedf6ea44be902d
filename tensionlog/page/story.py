"""What the notes of a sitting say of the job: its stage, its answers, whether it rests.

The notes are all there is: the same after a reload, a restart, or in a replay.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from tensionlog.model.recording import Note
from tensionlog.page.steps import AFTER, BEFORE, BETWEEN, ENDS_JOB, TAKEN_BACK, Step
from tensionlog.pipeline.quick import Standing

STAGES = ("before", "strings", "after", "slip", "refused")


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """A job as its notes tell it.

    Attributes:
        ticket: The latest `job-start`'s ticket.
        answers: Item to its note's body, as last answered.
        order: Items in the order answered.
        is_paused: Whether the stringer rests.
        is_ended: Whether `job-end` was written.
        is_over: Whether it was handed over, or given up.
        remarks: Texts that were typed.
        vouched: Who answers for a cracked frame, or None.
    """

    ticket: Mapping[str, Any] = field(default_factory=dict)
    answers: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    order: tuple[str, ...] = ()
    is_paused: bool = False
    is_ended: bool = False
    is_over: bool = False
    remarks: tuple[str, ...] = ()
    vouched: str | None = None

    @property
    def is_cracked(self) -> bool:
        """Whether the frame must not be strung."""
        bad = any(body.get("answer") in ENDS_JOB for body in self.answers.values())
        return bad and self.vouched is None


def story(notes: Sequence[Note]) -> Story:
    """Fold the notes of a sitting, in the order of the file."""
    ticket: Mapping[str, Any] = {}
    answers: dict[str, Mapping[str, Any]] = {}
    order: list[str] = []
    remarks: list[str] = []
    paused = ended = over = False
    vouched = None
    for note in notes:
        body = note.body
        match note.name:
            case "job-start" if isinstance(body.get("job"), Mapping):
                ticket, ended = body["job"], False
            case "inspect":
                _answer(answers, order, body)
            case "pause":
                paused = True
            case "go-on":
                paused = False
            case "remark":
                remarks.append(str(body.get("text", "")))
            case "override" if body.get("what") == "crack":
                vouched = str(body.get("by"))
            case "job-end":
                ended = True
            case "hand-over" | "given-up":
                over = True
    return Story(
        ticket=ticket,
        answers=answers,
        order=tuple(order),
        is_paused=paused,
        is_ended=ended,
        is_over=over,
        remarks=tuple(remarks),
        vouched=vouched,
    )


def _answer(
    answers: dict[str, Mapping[str, Any]], order: list[str], body: Mapping[str, Any]
) -> None:
    item = str(body.get("item", ""))
    if body.get("answer") == TAKEN_BACK:
        answers.pop(item, None)
        order[:] = [name for name in order if name != item]
        return
    answers[item] = body
    order[:] = [*(name for name in order if name != item), item]


def stage(told: Story, standing: Standing | None) -> str:
    """Which of `STAGES` the job is in."""
    if told.is_ended:
        return "slip"
    if told.is_cracked:
        return "refused"
    if standing is not None and strings_done(standing):
        return "after"
    if open_step(told, BEFORE) is None or made(standing):
        return "strings"
    return "before"


def made(standing: Standing | None) -> int:
    """Pulls made so far that stand."""
    laps = () if standing is None else standing.laps
    return sum(not lap.place.void and lap.place.position is not None for lap in laps)


def strings_done(standing: Standing) -> bool:
    """Whether no string is left to be pulled, and the last one was let off."""
    place = standing.next_place
    return place is not None and place.beyond_plan and not standing.is_loaded


def open_step(told: Story, steps: Sequence[Step]) -> Step | None:
    """The first step that nobody answered."""
    return next((step for step in steps if step.item not in told.answers), None)


def step_now(told: Story, standing: Standing | None) -> Step | None:
    """What is to be confirmed now, or None."""
    match stage(told, standing):
        case "before":
            return open_step(told, BEFORE)
        case "after":
            return open_step(told, AFTER)
        case "strings" if _between(told, standing):
            return BETWEEN
    return None


def _between(told: Story, standing: Standing | None) -> bool:
    """Whether the mains are done and no cross was begun."""
    if standing is None or standing.is_loaded or BETWEEN.item in told.answers:
        return False
    place = standing.next_place
    return place is not None and place.position == "X1" and made(standing) > 0


def overdue(told: Story, standing: Standing | None) -> tuple[Step, ...]:
    """Steps that were passed over: strings were pulled though nobody answered them."""
    if not made(standing):
        return ()
    passed = [step for step in BEFORE if step.item not in told.answers]
    laps = () if standing is None else standing.laps
    crossed = any((lap.place.position or "").startswith("X") for lap in laps)
    if crossed and BETWEEN.item not in told.answers:
        passed.append(BETWEEN)
    return tuple(passed)
