"""A morning check: masses on the cell, then what the head's dial really gives."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tensionlog.twin import disturb
from tensionlog.twin.bench import Bench, draw_bench
from tensionlog.twin.course import Course
from tensionlog.twin.head import Hand, Trace, opens_nothing, steps
from tensionlog.twin.played import FIRST_DAY, Played, Script, Sitting, write_down
from tensionlog.twin.rng import Rng, stream
from tensionlog.twin.strings import DT_S, draw_string

GRAVITY_M_S2 = 9.8123
"""Free fall at the invented workshop."""

HUNG = 1.0 - 1.2 / 8000.0
"""Air lifts a conventional mass by this much (OIML D 28: 1.2 and 8000 kg/m³)."""


def play_check(
    *,
    seed: int,
    masses_kg: Sequence[float] = (5.0, 10.0, 20.0, 10.0),
    dials_n: Sequence[float] = (),
    mass_error_pct: float = 0.0,
    gravity: float = GRAVITY_M_S2,
    head: str = "lockout",
    sport: str = "tennis",
    rate_hz: float = 80.0,
    bench: Bench | None = None,
    settle_s: float = 8.0,
    started: datetime = FIRST_DAY,
    read_every_s: float = 0.1,
) -> Played:
    """Play one morning check and write it down.

    Args:
        seed: Same seed, same bytes.
        masses_kg: What is hung, one after the other; nothing before and after.
        dials_n: Dial settings at which a scrap string is then pulled.
        mass_error_pct: How much heavier the plates are than they say.
        gravity: Free fall, m/s², as the note tells it.
        head: One of `head.HEAD_NAMES`; not looked at where `bench` is given.
        sport: Decides the scrap string.
        rate_hz: Nominal sample rate; not looked at where `bench` is given.
        bench: The bench; drawn from `seed` where None.
        settle_s: How long each load is left alone.
        started: Host time at which the recording was opened.
        read_every_s: How often the host reads the port.
    """
    bench = bench or draw_bench(seed, head=head, rate_hz=rate_hz)
    hanging = replace(bench, cell=replace(bench.cell, mounting_n=bench.cell.hanging_n))
    check = _Check(bench=hanging, rng=stream(seed, "check"), settle_s=settle_s)
    check.hang(masses_kg, gravity=gravity, heavier=1.0 + mass_error_pct / 100.0)
    if dials_n:
        check.try_dials(
            dials_n, sport=sport, move_n=bench.cell.mounting_n - bench.cell.hanging_n
        )
    course = check.course
    truth = {"check": check.truth(mass_error_pct), "head": check.pulls}
    script = Script(force_n=course.force_n(), notes=course.notes, events=(), truth=truth)
    sitting = Sitting(purpose="check", started=started, read_every_s=read_every_s)
    return write_down(bench=hanging, script=script, sitting=sitting, seed=seed)


@dataclass(slots=True, kw_only=True)
class _Check:
    """A check in the making."""

    bench: Bench
    rng: Rng
    settle_s: float
    course: Course = field(default_factory=Course)
    points: list[dict[str, float]] = field(default_factory=list)
    pulls: list[dict[str, Any]] = field(default_factory=list)

    def hang(self, masses_kg: Sequence[float], *, gravity: float, heavier: float) -> None:
        """Hang each mass in turn, nothing before and after."""
        distinct = sorted(set(masses_kg))
        self.course.notes.append(
            (
                -0.2,
                {
                    "note": "check-start",
                    "reference": "masses",
                    "masses_kg": distinct,
                    "gravity": gravity,
                    "u_mass_pct": 0.02,
                },
            )
        )
        before_n = 0.0
        for mass_kg in (0.0, *masses_kg, 0.0):
            load_n = mass_kg * gravity * HUNG * heavier
            self._load(mass_kg, before_n, load_n)
            before_n = load_n
        self.course.note("check-end", after_s=0.5)

    def _load(self, mass_kg: float, before_n: float, load_n: float) -> None:
        """Begin to hang, fumble, let it swing out."""
        course = self.course
        course.note("load", mass_kg=mass_kg)
        fumble_s = float(self.rng.uniform(1.0, 3.0)) if before_n != load_n else 0.1
        start_s = course.tick_s()
        change = handled(self.rng, seconds=fumble_s, from_n=before_n, to_n=load_n)
        swing = swinging(self.rng, seconds=self.settle_s, load_n=load_n)
        course.lay(start_s, np.concatenate([change, swing]))
        course.now_s = start_s + (len(change) + len(swing)) * DT_S
        self.points.append(
            {
                "mass_kg": mass_kg,
                "load_n": load_n,
                "settled_s": start_s + (len(change) + 0.6 * len(swing)) * DT_S,
                "until_s": course.now_s,
                "reading_n": float(self.bench.cell.reads_n(load_n)),
            }
        )

    def try_dials(self, dials_n: Sequence[float], *, sport: str, move_n: float) -> None:
        """Bring the cell to the head, then pull a scrap string at each setting."""
        course = self.course
        course.wait(3.0)
        moved_s = course.tick_s()
        string = draw_string(self.rng, sport=sport)
        for set_n in dials_n:
            course.note("dial", after_s=1.0, set_N=set_n)
            course.wait(float(self.rng.uniform(2.0, 4.0)))
            hand = Hand(set_n=set_n, ramp_s=1.0, dwell_s=5.0, after_s=0.1, opens=False)
            start_s = course.tick_s()
            trace = self.bench.head.pull(
                self.rng, string=string, hand=hand, opened=opens_nothing
            )
            tail = disturb.let_off(self.rng, from_n=float(trace.force_n[-1]))
            course.lay(start_s, np.concatenate([trace.force_n, tail]))
            course.now_s = start_s + (len(trace.force_n) + len(tail)) * DT_S
            self.pulls.append(self._dialled(set_n, start_s, trace))
        course.note("dial", after_s=1.0)
        # Hook and gripper weigh something else at the head than hanging free.
        course.lay(moved_s, np.full(steps(course.now_s + 3.0 - moved_s), move_n))

    def _dialled(self, set_n: float, start_s: float, trace: Trace) -> dict[str, Any]:
        reads = self.bench.cell.reads_n
        return {
            "set_n": set_n,
            "top_s": start_s + trace.top_i * DT_S,
            "peak_n": float(reads(trace.force_n.max())),
            "at_3s_n": float(reads(trace.at_3s_n)),
        }

    def truth(self, mass_error_pct: float) -> dict[str, Any]:
        """What the loads really were."""
        cell = self.bench.cell
        return {
            "points": self.points,
            "zero_n": cell.mounting_n,
            "span_error_pct": 100.0 * cell.span_error,
            "mass_error_pct": mass_error_pct,
        }


def handled(rng: Rng, *, seconds: float, from_n: float, to_n: float) -> NDArray[np.float64]:
    """From one load to another through an unsteady hand."""
    x = np.arange(1, steps(seconds) + 1) / steps(seconds)
    path = from_n + (to_n - from_n) * np.clip(1.6 * x - 0.4, 0.0, 1.0) ** 1.5
    touch = 0.04 * max(from_n, to_n, 20.0) * float(rng.uniform(0.3, 1.0))
    shake = (
        touch
        * np.sin(np.pi * x)
        * np.sin(2 * np.pi * float(rng.uniform(1.5, 4.0)) * x * seconds)
    )
    return np.asarray(np.maximum(path + shake, 0.0))


def swinging(rng: Rng, *, seconds: float, load_n: float) -> NDArray[np.float64]:
    """A hung mass swings for seconds and bounces a little."""
    t = np.arange(steps(seconds)) * DT_S
    swing = (
        0.01 * load_n * float(rng.uniform(0.2, 1.0)) * np.exp(-t / float(rng.uniform(1.0, 2.5)))
    )
    bounce = 0.01 * load_n * float(rng.uniform(0.1, 1.0)) * np.exp(-t / 0.4)
    slow = np.sin(2 * np.pi * float(rng.uniform(1.4, 2.4)) * t)
    fast = np.sin(2 * np.pi * float(rng.uniform(6.0, 11.0)) * t)
    return np.asarray(load_n + swing * slow + bounce * fast)
