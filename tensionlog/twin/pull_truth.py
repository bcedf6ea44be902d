"""The truth of one pull, in the words of the answers."""

from typing import Any, NamedTuple

import numpy as np

from tensionlog.twin.bench import Bench
from tensionlog.twin.head import Hand, Trace
from tensionlog.twin.order import Turn
from tensionlog.twin.strings import DT_S

_SETTLED_SHARE = 0.98


class Laid(NamedTuple):
    """Where a pull lies on the bench's clock, true seconds from the first sample.

    Attributes:
        start_s: The head begins to pull.
        slack_s: Slack was taken up by hand before that, or None.
        shut_s: The clamp is pushed shut on the string just pulled.
        end_s: The head begins to let off.
        plucked: Whether the string was plucked in the hold.
    """

    start_s: float
    slack_s: float | None
    shut_s: float
    end_s: float
    plucked: bool


def pull_truth(
    *, bench: Bench, turn: Turn, hand: Hand, trace: Trace, laid: Laid
) -> dict[str, Any]:
    """What happened in one pull.

    Forces of the trace (`peak_n`, `top_n`, …) are what the settled cell would read
    above its empty reading, without noise and without the hand's disturbances. Forces
    in the bed (`held_n`, …) are true newtons. Times are true seconds here.
    """
    times = _times(trace, laid)
    forces = _forces(trace, laid, relaxes=bench.head.name == "lockout")
    released = trace.open_i is not None
    return {
        "position": turn.position,
        "held_position": turn.held,
        "void": False,
        "set_n": hand.set_n,
        **times,
        **{name: _reads(bench, force) for name, force in forces.items()},
        "transit_s": hand.transit_s if released else None,
        "clamp_opened": turn.opens if released else None,
        "lifts": hand.lifts if bench.head.name == "drop-weight" else 1,
        "plucked": laid.plucked,
        "flags": _flags(bench, turn, hand, trace),
    }


def _times(trace: Trace, laid: Laid) -> dict[str, float | None]:
    start, open_i = laid.start_s, trace.open_i
    level = _SETTLED_SHARE * trace.before_n
    return {
        "start_s": start,
        "slack_s": laid.slack_s,
        "top_s": start + trace.top_i * DT_S,
        "top98_s": start + int(np.argmax(trace.force_n >= level)) * DT_S,
        "release_s": None if open_i is None else start + open_i * DT_S,
        "dwell_s": None if open_i is None else (open_i - trace.top_i) * DT_S,
        "shut_s": laid.shut_s,
        "let_off_s": laid.end_s,
    }


def _forces(trace: Trace, laid: Laid, *, relaxes: bool) -> dict[str, float | None]:
    """Levels of the trace; of heads that saw or swing, the level they do it about."""
    shut_i = min(len(trace.force_n) - 1, round((laid.shut_s - laid.start_s) / DT_S))
    at_shut = float(trace.force_n[shut_i])
    drop = trace.step.drop_n if trace.step else None
    release = at_shut if relaxes and not drop else trace.after_n
    return {
        "peak_n": float(trace.force_n.max()),
        "top_n": trace.before_n if drop else release,
        "release_n": release,
        "drop_n": drop,
        "before_n": trace.before_n,
        "after_n": trace.after_n,
        "shut_n": at_shut,
        "at_3s_n": trace.at_3s_n,
    }


def _reads(bench: Bench, force_n: float | None) -> float | None:
    return None if force_n is None else float(bench.cell.reads_n(force_n))


def _flags(bench: Bench, turn: Turn, hand: Hand, trace: Trace) -> list[str]:
    again = {"lockout": hand.again_s is not None, "drop-weight": hand.lifts > 1}
    flags = {
        "early-clamp": hand.dwell_s < 0.35 and hand.after_s < 0.5,
        "no-release": turn.opens is not None and trace.open_i is None,
        "gripper-slip": hand.grip_slip > 0.0,
        "straightened": hand.straighten_at_s is not None,
        "worked-twice": again.get(bench.head.name, False),
    }
    return [name for name, is_so in flags.items() if is_so]
