"""A clamp hold test: the cell at the anchor, the clamp between cell and head."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tensionlog.twin import disturb
from tensionlog.twin.bench import Bench, draw_bench
from tensionlog.twin.clamp import Clamp
from tensionlog.twin.course import Course
from tensionlog.twin.head import Hand, Trace, opens_nothing, steps
from tensionlog.twin.played import FIRST_DAY, Played, Script, Sitting, write_down
from tensionlog.twin.rng import Rng, stream
from tensionlog.twin.span import HeldSpan
from tensionlog.twin.strings import DT_S, StringLaw, draw_string
from tensionlog.units import N_PER_LBF

TEST_LBF = {"tennis": 55.0, "squash": 28.0, "badminton": 24.0}


def play_hold(
    *,
    seed: int,
    clamp: str = "A",
    sport: str = "tennis",
    head: str = "lockout",
    material: str = "nylon",
    rate_hz: float = 80.0,
    bench: Bench | None = None,
    string: StringLaw | None = None,
    target_n: float | None = None,
    span_m: float | None = None,
    observe_s: float = 20.0,
    re_pull: bool = True,
    started: datetime = FIRST_DAY,
    read_every_s: float = 0.1,
) -> Played:
    """Play one hold test and write it down.

    Args:
        seed: Same seed, same bytes.
        clamp: Which clamp is tested.
        sport: Decides string and target where they are drawn.
        head: One of `head.HEAD_NAMES`; not looked at where `bench` is given.
        material: `nylon`, `polyester` or `gut`.
        rate_hz: Nominal sample rate; not looked at where `bench` is given.
        bench: The bench; drawn from `seed` where None.
        string: The control reel; drawn from `seed` where None.
        target_n: Force of the test.
        span_m: From the anchor to the clamp.
        observe_s: How long the clamp is watched alone.
        re_pull: Whether the head then pulls and lets off once more.
        started: Host time at which the recording was opened.
        read_every_s: How often the host reads the port.
    """
    bench = bench or draw_bench(seed, head=head, rate_hz=rate_hz)
    rng = stream(seed, f"hold {clamp}")
    string = string or draw_string(rng, sport=sport, material=material)
    test = _Test(
        bench=bench,
        rng=rng,
        string=string,
        clamp=bench.clamps[clamp],
        target_n=target_n or TEST_LBF[sport] * N_PER_LBF,
        span_m=span_m or round(float(rng.uniform(0.45, 0.9)), 3),
        course=Course(),
    )
    truth = test.play(observe_s=observe_s, re_pull=re_pull)
    script = Script(
        force_n=test.course.force_n(),
        notes=test.course.notes,
        events=(),
        truth={"hold": truth, "string": string.truth()},
    )
    sitting = Sitting(purpose="hold", started=started, read_every_s=read_every_s)
    return write_down(bench=bench, script=script, sitting=sitting, seed=seed)


def played_hold(
    bench: Bench,
    rng: Rng,
    *,
    string: StringLaw,
    clamp: str,
    target_n: float,
    span_m: float,
    observe_s: float,
    re_pull: bool = True,
) -> NDArray[np.float64]:
    """Force at the anchor of one whole hold test, from its first rise, one value per step."""
    course = Course(now_s=0.0)
    test = _Test(
        bench=bench,
        rng=rng,
        string=string,
        clamp=bench.clamps[clamp],
        target_n=target_n,
        span_m=span_m,
        course=course,
    )
    test.play(observe_s=observe_s, re_pull=re_pull)
    return course.force_n(rest_s=1.0)


@dataclass(slots=True, kw_only=True)
class _Test:
    """A hold test in the making."""

    bench: Bench
    rng: Rng
    string: StringLaw
    clamp: Clamp
    target_n: float
    span_m: float
    course: Course

    def play(self, *, observe_s: float, re_pull: bool) -> dict[str, Any]:
        """Pull, hand off, watch, pull again, let go; return the truth."""
        typed_ea = round(self.string.ea_n * float(self.rng.normal(1.0, 0.12)), -1)
        self.course.note(
            "hold-start",
            clamp=self.clamp.name,
            target_N=round(self.target_n, 2),
            span_m=self.span_m,
            EA_N=typed_ea,
            u_EA_pct=30,
        )
        self.course.wait(float(self.rng.uniform(2.0, 4.0)))
        start_s, trace = self._first_pull()
        span = self._hand_off(start_s, trace, observe_s)
        after = _Watch(test=self, span=span, observe_s=observe_s)
        force = after.force_n(re_pull=re_pull)
        self.course.lay(span.taken_s, force)
        self.course.now_s = span.taken_s + len(force) * DT_S
        return self._truth(span, after, trace)

    def hand(self, dwell_s: float) -> Hand:
        """How the stringer works the head in a test: pull, wait, nothing else."""
        hand = self.bench.stringer.hand(
            self.rng, set_n=self.target_n, opens=False, is_cross=False
        )
        return Hand(
            set_n=hand.set_n, ramp_s=hand.ramp_s, dwell_s=dwell_s, after_s=0.0, opens=False
        )

    def _first_pull(self) -> tuple[float, Trace]:
        start_s = self.course.tick_s()
        hand = self.hand(float(self.rng.uniform(4.0, 7.0)))
        trace = self.bench.head.pull(
            self.rng, string=self.string, hand=hand, opened=opens_nothing
        )
        force = trace.force_n.copy()
        lead, push = disturb.shut_push(self.rng, greatest_n=self.bench.stringer.push_n)
        disturb.add(force, len(force) - lead, push)
        self.course.lay(start_s, force)
        return start_s, trace

    def _hand_off(self, start_s: float, trace: Trace, observe_s: float) -> HeldSpan:
        taken_s = start_s + len(trace.force_n) * DT_S
        steps_mm = self.clamp.stick_slips_mm(self.rng, seconds=observe_s)
        span = HeldSpan(
            position="hold",
            clamp=self.clamp,
            string=self.string,
            length_m=self.span_m,
            before_n=float(trace.force_n[-1]),
            top_s=start_s + trace.top_i * DT_S,
            taken_s=taken_s,
            slip_mm=self.clamp.take_over(self.rng, force_n=float(trace.force_n[-1])),
            later_mm=[(taken_s + t, mm) for t, mm in steps_mm if t > 1.0],
        )
        span.settle()
        self.course.notes.append(
            (taken_s + float(self.rng.uniform(-0.7, 0.9)), {"note": "hand-off"})
        )
        return span

    def _truth(self, span: HeldSpan, after: "_Watch", trace: Trace) -> dict[str, Any]:
        reads = self.bench.cell.reads_n
        return {
            "clamp": self.clamp.name,
            "target_n": self.target_n,
            "span_m": self.span_m,
            "n_per_mm": span.n_per_mm,
            "top_s": span.top_s,
            "hand_off_s": span.taken_s,
            "let_off_takes_s": after.let_off_s,
            "before_n": float(reads(trace.force_n[-1])),
            "hand_off_loss_n": float(reads(span.before_n - span.settle())),
            "held_n": float(reads(after.held_n)),
            "give_mm": span.slip_mm + span.flex_mm,
            "flex_mm": span.flex_mm,
            "flex_back_mm": self.clamp.returns * span.flex_mm,
            "slip_mm": span.slip_mm,
            "second_slip_mm": after.second_slip_mm,
            "creep_n_per_s": span.n_per_mm * self.clamp.creep_mm_per_s,
            "re_pull_s": after.re_pull_s,
            "slips": [
                {"time_s": t - span.taken_s, "size_n": span.n_per_mm * mm}
                for t, mm in after.steps_mm
            ],
        }


class _Watch:
    """The span alone behind its clamp, second by second, and the second pull."""

    def __init__(self, *, test: _Test, span: HeldSpan, observe_s: float) -> None:
        self.test, self.span = test, span
        self.observe_s = observe_s
        self.let_off_s = float(test.rng.uniform(0.05, 0.3))
        self.re_pull_s: float | None = None
        self.second_slip_mm = self.held_n = 0.0
        self.steps_mm = tuple(span.later_mm)

    def force_n(self, *, re_pull: bool) -> NDArray[np.float64]:
        """Force at the anchor from the let-off to the end, one value per step."""
        ahead = [self._letting_off(self.span.before_n), np.zeros(steps(self.observe_s))]
        if re_pull:
            ahead += self._second_pull(sum(map(len, ahead)))
        pulled = np.concatenate(ahead)
        force = self.span.history_n(pulled)
        self.held_n = float(force[steps(3.0)])
        end_s = self.span.taken_s + len(force) * DT_S
        self.test.course.notes.append((end_s - 0.2, {"note": "hold-end"}))
        return np.concatenate([force, disturb.let_off(self.test.rng, from_n=float(force[-1]))])

    def _letting_off(self, from_n: float) -> NDArray[np.float64]:
        x = np.arange(1, steps(self.let_off_s) + 1) / steps(self.let_off_s)
        return np.asarray(from_n * (1.0 - x ** float(self.test.rng.uniform(0.7, 2.0))))

    def _second_pull(self, begun: int) -> list[NDArray[np.float64]]:
        test, span = self.test, self.span
        self.re_pull_s = span.taken_s + begun * DT_S
        test.course.notes.append((self.re_pull_s - 0.6, {"note": "re-pull"}))
        hand = test.hand(float(test.rng.uniform(3.0, 5.0)))
        trace = test.bench.head.pull(
            test.rng, string=test.string, hand=hand, opened=opens_nothing
        )
        off = self._letting_off(float(trace.force_n[-1]))
        # Most of the slip happens the first time: the jaws have bedded in.
        self.second_slip_mm = span.slip_mm * float(test.rng.uniform(0.02, 0.12))
        again_s = self.re_pull_s + len(trace.force_n) * DT_S
        span.later_mm.append((again_s, self.second_slip_mm))
        quiet = np.zeros(steps(float(test.rng.uniform(6.0, 9.0))))
        return [trace.force_n, off, quiet]
