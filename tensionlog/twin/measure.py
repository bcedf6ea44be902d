"""The two measurements that turn newtons into friction and millimetres.

* turn test       what passes round one turn of a scrap frame, still and tapped
* stiffness test  the anchor moved by a known length at tension
"""

from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tensionlog.twin import disturb
from tensionlog.twin.bench import Bench, draw_bench
from tensionlog.twin.course import Course
from tensionlog.twin.head import Hand, opens_nothing, ramp_shape, steps
from tensionlog.twin.played import FIRST_DAY, Played, Script, Sitting, write_down
from tensionlog.twin.rng import Rng, stream
from tensionlog.twin.span import HeldSpan
from tensionlog.twin.strings import DT_S, draw_string

TEST_N = 200.0


def play_turn(
    *,
    seed: int,
    sport: str = "tennis",
    head: str = "lockout",
    rate_hz: float = 80.0,
    bench: Bench | None = None,
    started: datetime = FIRST_DAY,
) -> Played:
    """Play one turn test: cell, one turn round a scrap frame, head.

    Args:
        seed: Same seed, same bytes.
        sport: Decides the string.
        head: One of `head.HEAD_NAMES`; not looked at where `bench` is given.
        rate_hz: Nominal sample rate; not looked at where `bench` is given.
        bench: The bench; drawn from `seed` where None.
        started: Host time at which the recording was opened.
    """
    bench = bench or draw_bench(seed, head=head, rate_hz=rate_hz)
    rng, course = stream(seed, "turn"), Course()
    hand = Hand(set_n=TEST_N, ramp_s=1.2, dwell_s=14.0, after_s=0.1, opens=False)
    string = draw_string(rng, sport=sport)
    course.wait(2.0)
    start_s = course.tick_s()
    trace = bench.head.pull(rng, string=string, hand=hand, opened=opens_nothing)
    tapped_i = trace.top_i + steps(6.0)
    passes = _passing(rng, bench=bench, n=len(trace.force_n), tapped_i=tapped_i)
    force = trace.force_n * passes
    for at in range(tapped_i, tapped_i + steps(2.0), steps(0.5)):
        disturb.add(force, at, 0.3 * disturb.knock(rng))
    course.lay(start_s, np.concatenate([force, disturb.let_off(rng, from_n=float(force[-1]))]))
    # A dial table tells what the head pulls as it trips: a lock's force falls from there.
    pulls_n = trace.force_n.max() if bench.head.name == "lockout" else trace.force_n[tapped_i]
    known_n = float(pulls_n) * float(rng.normal(1.0, 0.003))
    course.notes.append(
        (start_s - 1.0, {"note": "turn-start", "head_N": round(known_n, 1), "wrap_deg": 180})
    )
    course.now_s = start_s + len(force) * DT_S
    course.notes.append((course.now_s - 0.3, {"note": "turn-end"}))
    truth = {
        "phi_rest": float(passes[tapped_i - 1]),
        "phi_tapped": float(passes[-1]),
        "tapped_s": start_s + tapped_i * DT_S,
        "head_n": float(trace.force_n[tapped_i]),
        "table_n": float(pulls_n),
    }
    return _written(bench, course, {"turn": truth}, started, seed)


def _passing(rng: Rng, *, bench: Bench, n: int, tapped_i: int) -> NDArray[np.float64]:
    """Share that passes, step by step: each tap lets a little more through."""
    phi = np.full(n, bench.friction.rest)
    left = bench.friction.shaken - bench.friction.rest
    for tap in range(4):
        gain = left * float(rng.uniform(0.5, 0.8))
        at = tapped_i + tap * steps(0.5)
        rise = 1.0 - np.exp(-np.arange(n - at) * DT_S / 0.02)
        phi[at:] += gain * rise
        left -= gain
    return phi


def play_stiffness(
    *,
    seed: int,
    sport: str = "tennis",
    head: str = "lockout",
    rate_hz: float = 80.0,
    bench: Bench | None = None,
    moves_mm: tuple[float, ...] = (2.0, -2.0),
    started: datetime = FIRST_DAY,
) -> Played:
    """Play one stiffness test: the anchor's screw is turned while a clamp holds.

    Args:
        seed: Same seed, same bytes.
        sport: Decides the string.
        head: One of `head.HEAD_NAMES`; not looked at where `bench` is given.
        rate_hz: Nominal sample rate; not looked at where `bench` is given.
        bench: The bench; drawn from `seed` where None.
        moves_mm: How far the anchor is moved, step by step; positive tightens.
        started: Host time at which the recording was opened.
    """
    bench = bench or draw_bench(seed, head=head, rate_hz=rate_hz)
    rng, course = stream(seed, "stiffness"), Course()
    length_m = round(float(rng.uniform(0.5, 0.9)), 3)
    course.note("stiff-start", span_m=length_m)
    course.wait(1.5)
    span = _clamped(rng, bench, course, sport, length_m)
    frame_n_per_mm = float(rng.uniform(500.0, 1500.0))
    series = 1.0 / span.n_per_mm + 1.0 / span.clamp.stiffness_n_per_mm + 1.0 / frame_n_per_mm
    moved = _moves(rng, course, begin_s=span.taken_s, moves_mm=moves_mm)
    force = span.history_n(np.zeros(len(moved))) + span.string.respond(moved / series)
    course.lay(span.taken_s, np.concatenate([force, np.linspace(force[-1], 0.0, 200)]))
    course.now_s = span.taken_s + len(force) * DT_S
    course.notes.append((course.now_s - 0.3, {"note": "stiff-end"}))
    truth = {
        "EA_N": 1000.0 * length_m / series,
        "EA_string_N": span.string.ea_n,
        "moves_mm": list(moves_mm),
    }
    return _written(bench, course, {"stiffness": truth}, started, seed)


def _clamped(rng: Rng, bench: Bench, course: Course, sport: str, length_m: float) -> HeldSpan:
    """Pull to tension, shut the clamp, let the head off."""
    hand = Hand(set_n=TEST_N, ramp_s=1.2, dwell_s=3.0, after_s=0.1, opens=False)
    string = draw_string(rng, sport=sport)
    start_s = course.tick_s()
    trace = bench.head.pull(rng, string=string, hand=hand, opened=opens_nothing)
    course.lay(start_s, trace.force_n)
    before_n = float(trace.force_n[-1])
    clamp = bench.clamps["A"]
    span = HeldSpan(
        position="stiffness",
        clamp=clamp,
        string=string,
        length_m=length_m,
        before_n=before_n,
        top_s=start_s + trace.top_i * DT_S,
        taken_s=start_s + len(trace.force_n) * DT_S,
        slip_mm=clamp.take_over(rng, force_n=before_n),
    )
    span.settle()
    return span


def _moves(
    rng: Rng, course: Course, *, begin_s: float, moves_mm: tuple[float, ...]
) -> NDArray[np.float64]:
    """Millimetres moved in each step of the model; every move is noted as it begins."""
    parts = [np.zeros(steps(6.0))]
    for move_mm in moves_mm:
        at_s = begin_s + sum(map(len, parts)) * DT_S
        course.notes.append((at_s - 0.3, {"note": "step", "moved_mm": move_mm}))
        turn = ramp_shape(rng, seconds=float(rng.uniform(1.5, 3.0)), stiffening=1.0)
        parts += [move_mm * np.diff(turn, prepend=0.0), np.zeros(steps(7.0))]
    return np.concatenate(parts)


def _written(
    bench: Bench, course: Course, truth: dict[str, Any], started: datetime, seed: int
) -> Played:
    script = Script(force_n=course.force_n(), notes=course.notes, events=(), truth=truth)
    sitting = Sitting(purpose="free", started=started)
    return write_down(bench=bench, script=script, sitting=sitting, seed=seed)
