"""Walk pulls and notes in time order; give each pull its place in the bed.

Which clamp holds what is kept as a picture of the bed after every pull, so that a redo
or an undo is a step back to the picture before. What a void pull left in a clamp is
remembered beside it: the pull that is made again opens that clamp, on the same string.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from tensionlog.errors import PlanError
from tensionlog.model.job import Job
from tensionlog.plan.ticket import read_ticket


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A pull or a note at its moment.

    Attributes:
        at_s: Seconds from the recording's first sample; a pull's is its start.
        pull: Index of the pull, or None for a note.
        name: Name of the note (`redo`, `undo`, `place`, …); empty for a pull.
        body: The note's object.
        let_off_s: When the head let the pull go, or None where it did not.
    """

    at_s: float
    pull: int | None = None
    name: str = ""
    body: Mapping[str, Any] = field(default_factory=dict)
    let_off_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """Where a pull belongs.

    Attributes:
        kind: `pull` or `lift-off`.
        position: The string being pulled; None beyond the plan and outside a job.
        held_position: The string that the opened clamp holds, or None.
        void: Whether it was redone or undone.
        clamp_opened: Clamp opened while the head holds, or None.
        clamp_shut: Clamp that takes the string, or None.
        job_number: Which `job-start` it belongs to, from 1, or None.
        bed: Bed of the job's ref, from 1.
        beyond_plan: The job has no position left for it.
    """

    kind: str = "pull"
    position: str | None = None
    held_position: str | None = None
    void: bool = False
    clamp_opened: str | None = None
    clamp_shut: str | None = None
    job_number: int | None = None
    bed: int = 1
    beyond_plan: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bed:
    """The bed as it stands between two pulls.

    Attributes:
        index: Next position in the sequence.
        last: Last string pulled on each side (`L`, `R`, `X`).
        clamp_on: Clamp that took each string.
        left_in: Strings of void pulls that still sit in a clamp.
    """

    index: int = 0
    last: Mapping[str, str] = field(default_factory=dict)
    clamp_on: Mapping[str, str | None] = field(default_factory=dict)
    left_in: Mapping[str, str | None] = field(default_factory=dict)


def place_pulls(steps: Sequence[Step], count: int) -> tuple[list[Placed], list[Job]]:
    """Give each of `count` pulls its place.

    Args:
        steps: Pulls and notes, sorted by time.
        count: Number of pulls among them.

    Returns:
        One `Placed` per pull, and the jobs in the order of their `job-start`.

    Raises:
        PlanError: A ticket contradicts itself.
    """
    course = _Course([Placed() for _ in range(count)])
    for step in steps:
        if step.pull is not None:
            course.pull(step.pull, step.let_off_s)
        else:
            course.note(step)
    return course.placed, course.jobs


class _Course:
    def __init__(self, placed: list[Placed]) -> None:
        self.placed = placed
        self.jobs: list[Job] = []
        self._job: Job | None = None
        self._beds: dict[str, int] = {}
        self._bed = _Bed()
        self._history: list[tuple[int, _Bed]] = []  # pull, bed before it
        self._let_off: dict[int, float | None] = {}
        self._lift_off_next = False

    def note(self, step: Step) -> None:
        acts = {
            "job-start": self._start,
            "job-end": self._end,
            "broke": self._end,
            "redo": self._void_last,
            "undo": self._void_last,
            "place": self._place,
            "lift-off": self._announce_lift_off,
            "clamp": self._other_clamp,
        }
        act = acts.get(step.name)
        if act is not None:
            act(step)

    def pull(self, index: int, let_off_s: float | None) -> None:
        self._let_off[index] = let_off_s
        job, bed = self._job, self._bed
        self._history.append((index, bed))
        if job is None:
            return
        base = Placed(job_number=len(self.jobs), bed=self._beds[job.ref])
        if self._lift_off_next:
            self._lift_off_next = False
            self.placed[index] = self._lift_off(base)
            return
        if bed.index >= len(job.sequence):
            self.placed[index] = replace(base, beyond_plan=True)
            return
        position = job.sequence[bed.index]
        opened, held = self._behind(job, bed, position)
        shut = _planned_clamp(job, position)
        self.placed[index] = replace(
            base, position=position, held_position=held, clamp_opened=opened, clamp_shut=shut
        )
        self._bed = _Bed(
            index=bed.index + 1,
            last={**bed.last, position[0]: position},
            clamp_on={**bed.clamp_on, position: shut},
            left_in={p: c for p, c in bed.left_in.items() if p != position},
        )

    def _start(self, step: Step) -> None:
        ticket = step.body.get("job")
        if not isinstance(ticket, Mapping):
            raise PlanError("a job-start note carries no ticket (`job`). Write one.")
        self._job = read_ticket(ticket)
        self.jobs.append(self._job)
        self._beds[self._job.ref] = self._beds.get(self._job.ref, 0) + 1
        self._bed = _Bed()
        self._history = []
        self._lift_off_next = False

    def _end(self, step: Step) -> None:
        self._job = None

    def _behind(self, job: Job, bed: _Bed, position: str) -> tuple[str | None, str | None]:
        """Clamp that will be opened, and the string it holds."""
        if position in bed.left_in:
            clamp = bed.left_in[position]
            return clamp, None if clamp is None else position
        side = position[0]
        if side in bed.last:
            behind = bed.last[side]
            return bed.clamp_on.get(behind), behind
        other = {"L": "R", "R": "L"}.get(side)
        if other is not None and other in bed.last:
            first = next(p for p in bed.clamp_on if p[0] == other)
            return job.clamp_start, first if job.clamp_start is not None else None
        return None, None

    def _void_last(self, step: Step) -> None:
        if not self._history:
            return
        index, before = self._history.pop()
        pull = replace(self.placed[index], void=True)
        position = pull.position
        if position is not None and pull.kind == "pull":
            if not self._was_shut(index, step.at_s):
                pull = replace(pull, clamp_shut=None)
            # Strings taken back before this one are to be made again too.
            left_in = {**before.left_in, **self._bed.left_in, position: pull.clamp_shut}
            before = replace(before, left_in=left_in)
        self.placed[index] = pull
        self._bed = before

    def _was_shut(self, index: int, at_s: float) -> bool:
        """Whether the head had let the string go into a clamp when the note came.

        Where the stream broke off under load nobody saw it, and it is taken to have been.
        """
        let_off_s = self._let_off[index]
        return let_off_s is None or let_off_s <= at_s

    def _place(self, step: Step) -> None:
        position = str(step.body.get("position", ""))
        if self._job is not None and position in self._job.sequence:
            self._bed = replace(self._bed, index=self._job.sequence.index(position))

    def _announce_lift_off(self, step: Step) -> None:
        self._lift_off_next = True

    def _lift_off(self, base: Placed) -> Placed:
        if len(self._history) < 2:
            return replace(base, kind="lift-off")
        last = self.placed[self._history[-2][0]]
        return replace(
            base,
            kind="lift-off",
            position=last.position,
            held_position=last.position,
            clamp_opened=last.clamp_shut,
            clamp_shut=last.clamp_shut,
        )

    def _other_clamp(self, step: Step) -> None:
        shut = step.body.get("shut")
        if not self._history or not isinstance(shut, str):
            return
        index, _ = self._history[-1]
        pull = replace(self.placed[index], clamp_shut=shut)
        self.placed[index] = pull
        if pull.position is not None:
            self._bed = replace(self._bed, clamp_on={**self._bed.clamp_on, pull.position: shut})


def _planned_clamp(job: Job, position: str) -> str | None:
    if position[0] == "X":
        names = job.clamps_crosses
        return names[(int(position[1:]) - 1) % len(names)] if names else None
    return job.clamp_left if position[0] == "L" else job.clamp_right
