"""The truth of one pull, in the words of the answers."""

from typing import Any

import numpy as np

from tensionlog.twin.bench import Bench
from tensionlog.twin.head import Hand, Trace
from tensionlog.twin.order import Turn
from tensionlog.twin.strings import DT_S

_SETTLED_SHARE = 0.98


def pull_truth(
    *,
    bench: Bench,
    turn: Turn,
    hand: Hand,
    trace: Trace,
    opening: dict[str, Any] | None,
    start_s: float,
    slack_s: float | None,
    shut_s: float,
    end_s: float,
) -> dict[str, Any]:
    """What happened in one pull.

    Forces of the trace (`peak_n`, `top_n`, …) are what the settled cell would read
    above its empty reading, without noise and without the hand's disturbances. Forces
    in the bed (`held_n`, …) are true newtons. Times are true seconds here.
    """
    released = trace.open_i is not None
    drop = trace.step.drop_n if trace.step else None
    release_n = trace.after_n if drop else _at(trace, shut_s - start_s)
    level = _SETTLED_SHARE * trace.before_n
    return {
        "position": turn.position,
        "held_position": turn.held,
        "void": False,
        "set_n": hand.set_n,
        "start_s": start_s,
        "slack_s": slack_s,
        "top_s": start_s + trace.top_i * DT_S,
        "top98_s": start_s + int(np.argmax(trace.force_n >= level)) * DT_S,
        "release_s": start_s + trace.open_i * DT_S if trace.open_i is not None else None,
        "transit_s": hand.transit_s if released else None,
        "shut_s": shut_s,
        "let_off_s": end_s,
        "peak_n": _reads(bench, float(trace.force_n.max())),
        "top_n": _reads(bench, trace.before_n),
        "after_n": _reads(bench, trace.after_n),
        "shut_n": _reads(bench, _at(trace, shut_s - start_s)),
        "release_n": _reads(bench, release_n),
        "at_3s_n": _reads(bench, trace.at_3s_n),
        "drop_n": None if drop is None else _reads(bench, drop),
        "clamp_opened": turn.opens if released else None,
        "behind": opening,
        "dwell_s": (trace.open_i - trace.top_i) * DT_S if trace.open_i is not None else None,
        "lifts": hand.lifts if bench.head.name == "drop-weight" else 1,
        "flags": _flags(bench, turn, hand, trace),
    }


def _at(trace: Trace, after_s: float) -> float:
    return float(trace.force_n[min(len(trace.force_n) - 1, round(after_s / DT_S))])


def _reads(bench: Bench, force_n: float) -> float:
    return float(bench.cell.reads_n(force_n))


def _flags(bench: Bench, turn: Turn, hand: Hand, trace: Trace) -> list[str]:
    head = bench.head.name
    twice = (
        hand.again_s is not None
        if head == "lockout"
        else head == "drop-weight" and hand.lifts > 1
    )
    early = hand.dwell_s < 0.35 and hand.after_s < 0.5
    flags = {
        "early-clamp": early,
        "no-release": turn.opens is not None and trace.open_i is None,
        "gripper-slip": hand.grip_slip > 0.0,
        "straightened": hand.straighten_at_s is not None,
        "worked-twice": twice,
    }
    return [name for name, is_so in flags.items() if is_so]
