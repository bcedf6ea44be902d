"""Stringing a bed: turn after turn, with what goes wrong on the way."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tensionlog.twin import disturb
from tensionlog.twin.bed import Bed, Opening
from tensionlog.twin.bench import Bench
from tensionlog.twin.course import Course
from tensionlog.twin.head import Hand, Trace
from tensionlog.twin.mishap import mishandled
from tensionlog.twin.order import Clamping, Turn, positions, swapped
from tensionlog.twin.pull_truth import Laid, pull_truth
from tensionlog.twin.rng import Rng, chance
from tensionlog.twin.strings import DT_S, StringLaw

_AT_WORK_S = 5.0
"""Of the time from one string to the next, what the pull itself takes."""

_CUT_OUT_S = 20.0


@dataclass(slots=True, kw_only=True)
class Stringing:
    """A job in the making.

    Attributes:
        bench: The bench.
        job: The ticket.
        string: The string.
        rng: Chance.
        pace: Scale of the waits between pulls.
        mishaps: Position to a mishap of `mishap.MISHAPS`.
        at_most: The sitting is broken off after so many pulls; None for never.
        course: Clock, forces, notes.
        pulls: Truth of the pulls so far.
        uses: How often each clamp was used.
        bed_number: Counts the beds; a broken string begins the next.
    """

    bench: Bench
    job: dict[str, Any]
    string: StringLaw
    rng: Rng
    pace: float
    mishaps: dict[str, str]
    at_most: int | None = None
    course: Course = field(default_factory=Course)
    pulls: list[dict[str, Any]] = field(default_factory=list)
    uses: dict[str, int] = field(default_factory=dict)
    bed_number: int = 0

    def play(self) -> None:
        """Play the job from the ticket to the last tail."""
        course = self.course
        course.notes.append((-0.24, {"note": "job-start", "job": self.job}))
        for item, answer in (("frame", "sound"), ("supports", "firm"), ("arms", "locked")):
            course.note("inspect", after_s=0.2, item=item, answer=answer)
        while not self._bed_done():
            course.note("job-start", after_s=_CUT_OUT_S * self.pace, job=self.job)
        if self._is_over():
            return
        course.note("inspect", after_s=3.0, item="weave", answer="both sides checked")
        course.note("job-end", after_s=0.5)

    def _bed_done(self) -> bool:
        """String one bed; False if it broke."""
        self.bed_number += 1
        bed = Bed(
            bench=self.bench,
            job=self.job,
            string=self.string,
            rng=self.rng,
            uses=self.uses,
            clamping=Clamping(**self.job["clamps"]),
        )
        for position in self._turns():
            if self._is_over():
                return True
            if not self._string(bed, position):
                return False
        if self.mishaps.pop("end", None) == "extra":
            self._wait(bed.job, "X1")
            self._pull(bed, Turn("X1", None, None, "A"), mishap="extra")
        return True

    def _is_over(self) -> bool:
        return self.at_most is not None and len(self.pulls) >= self.at_most

    def _turns(self) -> Iterator[str]:
        """Positions in the order they are really pulled, `place` noted where it differs."""
        job = self.job
        planned = tuple(job.get("sequence", ())) or positions(
            mains=job["mains"], crosses=job["crosses"], order=job["order"]
        )
        done = planned
        for position in planned:
            if self.mishaps.get(position) == "swap":
                done = swapped(done, position)
        off = False
        for plan, position in zip(planned, done, strict=True):
            if off or plan != position:
                self.course.note("place", after_s=0.5, position=position)
            off = plan != position
            yield position

    def _string(self, bed: Bed, position: str) -> bool:
        mishap = self.mishaps.pop(position, None)
        self._wait(bed.job, position)
        pull = self._pull(bed, bed.clamping.turn(position), mishap=mishap)
        if mishap == "broke":
            self.course.note("broke", after_s=1.0, position=position)
            return False
        if mishap in ("redo", "undo"):
            self._take_back(pull, mishap)
            self._wait(bed.job, position)
            self._pull(bed, bed.clamping.again(position))
        if mishap == "lift-off":
            self.course.note("lift-off", after_s=1.0)
            self.course.wait(float(self.rng.uniform(1.5, 4.0)))
            self._pull(bed, bed.clamping.again(position), kind="lift-off")
        return True

    def _take_back(self, pull: dict[str, Any], how: str) -> None:
        pull["void"] = True
        if how == "redo" and chance(self.rng, 0.5):
            self.course.press("redo", after_s=1.2)
        else:
            self.course.note(how, after_s=1.0)

    def _wait(self, job: Mapping[str, Any], position: str) -> None:
        """Thread the next string; let hands tug and knock meanwhile."""
        habits = self.bench.stringer
        mean = habits.cross_s if position[0] == "X" else habits.main_s
        slowly = float(self.rng.lognormal(0.0, 0.2))
        wait = max(1.6, self.pace * (mean - _AT_WORK_S) * slowly)
        for _ in range(int(self.rng.poisson(habits.knocks))):
            self._disturb(wait, disturb.knock(self.rng))
        for _ in range(int(self.rng.poisson(habits.tugs))):
            self._disturb(wait, disturb.tug(self.rng))
        self.course.wait(wait)

    def _disturb(self, wait: float, extra: NDArray[np.float64]) -> None:
        room = wait - len(extra) * DT_S - 0.9
        if room > 0.3:
            self.course.lay(self.course.now_s + 0.3 + float(self.rng.uniform(0.0, room)), extra)

    def _hand(self, bed: Bed, turn: Turn, mishap: str | None) -> Hand:
        hand = self.bench.stringer.hand(
            self.rng,
            set_n=self.job.get("dial_N") or bed.target_n(turn.position),
            opens=turn.opens is not None and mishap != "no-release",
            is_cross=turn.position[0] == "X",
        )
        if self.bench.head.name == "constant-pull":
            hand = replace(hand, prestretch=self.job.get("prestretch_pct", 0.0) / 100.0)
        return mishandled(hand, mishap)

    def _pull(
        self, bed: Bed, turn: Turn, *, kind: str = "pull", mishap: str | None = None
    ) -> dict[str, Any]:
        hand = self._hand(bed, turn, mishap)
        start_s = self.course.tick_s()
        opening = Opening(bed, turn, start_s)
        trace = self.bench.head.pull(self.rng, string=self.string, hand=hand, opened=opening)
        laid = self._lay(trace, hand, start_s, broke=mishap == "broke")
        shut = (
            None if mishap in ("broke", "extra") else self._shut(bed, turn, trace, laid, mishap)
        )
        pull = pull_truth(bench=self.bench, turn=turn, hand=hand, trace=trace, laid=laid)
        pull |= {
            "number": len(self.pulls) + 1,
            "bed": self.bed_number,
            "kind": kind,
            "target_n": bed.target_n(turn.position),
            "behind": opening.found,
            "clamp_shut": shut,
        }
        if self.bench.has_levers:
            self._switches(pull)
        if mishap == "extra":
            pull |= {"position": None, "target_n": None, "flags": ["beyond-plan"]}
        self.pulls.append(pull)
        return pull

    def _switches(self, pull: dict[str, Any]) -> None:
        """Let the clamps' levers work their switches."""
        if pull["clamp_opened"]:
            self.course.events.append((pull["release_s"], f"open-{pull['clamp_opened']}"))
        if pull["clamp_shut"]:
            self.course.events.append((pull["shut_s"], f"shut-{pull['clamp_shut']}"))

    def _lay(self, trace: Trace, hand: Hand, start_s: float, *, broke: bool) -> Laid:
        """Put the trace on the course, with everything that hands add to it."""
        rng, habits = self.rng, self.bench.stringer
        force, plucked = disturb.worked(rng, stringer=habits, hand=hand, trace=trace)
        if broke:
            force = force[: (trace.top_i + len(force)) // 2]
        lead, push = disturb.shut_push(rng, greatest_n=0.0 if broke else habits.push_n)
        disturb.add(force, len(force) - lead, push)
        end_s = start_s + len(force) * DT_S
        tail = disturb.snap if broke else disturb.let_off
        whole = np.concatenate([force, tail(rng, from_n=float(force[-1]))])
        slack_s = None
        if chance(rng, habits.slack):
            ahead, whole = disturb.slack(rng, force=whole)
            slack_s = start_s - ahead * DT_S
        self.course.lay(start_s if slack_s is None else slack_s, whole)
        self.course.now_s = end_s + 0.4
        return Laid(start_s, slack_s, end_s - lead * DT_S, end_s, plucked)

    def _shut(self, bed: Bed, turn: Turn, trace: Trace, laid: Laid, mishap: str | None) -> str:
        name = turn.shuts
        if mishap == "wrong-clamp":
            name = next(c for c in self.bench.clamps if c != turn.shuts)
            self.course.note("clamp", after_s=0.8, shut=name)
        bed.take(
            turn.position,
            name,
            before_n=float(trace.force_n[-1]),
            top_s=laid.start_s + trace.top_i * DT_S,
            now_s=laid.end_s,
        )
        return name
