"""A hold on a motor head: a dip that the motor makes good, over a saw-tooth.

The motor rests inside its dead band while the string relaxes, and pulls back to its
upper edge when the lower one is reached; a clamp that opens makes it do the same with
a fall in front. A release is told from a tooth by comparison: what one motor start
anywhere near explains without a fall is no release.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import Trace, shrunk
from tensionlog.pulls.hold import Hold
from tensionlog.pulls.motor import LOWEST_RATE_HZ as LOWEST_RATE_HZ
from tensionlog.pulls.motor import Motor as Motor
from tensionlog.pulls.motor_dip import CLEAR_GAIN, Dip, fit_dip
from tensionlog.pulls.motor_hold import Held, candidates, hold_of, settled_part
from tensionlog.pulls.motor_learn import learn_motor as learn_motor
from tensionlog.pulls.motor_release import fit_release
from tensionlog.pulls.shape import Shape

Floats = NDArray[np.float64]

SURE_GAIN, UNSURE_GAIN = 50.0, 20.0
"""Chi-square by which a release by the motor's rule is beyond doubt; with less the other
way of looking must see it as well."""

FAIR_MISFIT = 1.5
"""Reduced chi-square up to which the motor kept to its rule."""

HIDDEN = 2.0
"""A fall of a few deviations hides among the teeth: an unseen one is so much less sure."""


def read_constant_pull(
    shape: Shape, *, motor: Motor, release_at: float | None = None
) -> Hold | None:
    """Find the dip and its size.

    Args:
        shape: The pull with its landmarks.
        motor: What the job knows so far.
        release_at: Moment given by a lever switch, device time, or None.

    Returns:
        None where the hold is too short to tell anything.
    """
    begin, stop = settled_part(shape)
    if stop - begin < 6:
        return None
    if 1.0 / shape.period < LOWEST_RATE_HZ:
        return _without_release(shape.y[begin:stop], dip=None)
    hold = hold_of(shape, motor)
    if not len(hold.trace.y):  # a hand was in all of it
        return None
    near = candidates(hold, motor) if release_at is None else [release_at]
    dip = _found(hold, motor, near)
    if dip is None:
        return _without_release(hold.trace.y, dip=None)
    if release_at is None and not dip.seen:
        return _without_release(hold.trace.y, dip=dip)
    return _released(hold.trace, dip)


def _found(hold: Held, motor: Motor, near: Sequence[float]) -> Dip | None:
    """The release by the motor's switching where that is known and explains it.

    A hand, or a switch out of turn, breaks the rule of the band: then the surroundings of
    the fall alone must do.
    """
    if motor.switching is None:
        return _best_dip(hold, motor, near)
    by_rule = fit_release(hold, motor, near)
    if by_rule is not None and by_rule.gain > SURE_GAIN and by_rule.seen:
        if by_rule.misfit < FAIR_MISFIT:
            return by_rule
    if by_rule is not None and by_rule.gain < UNSURE_GAIN and by_rule.misfit < FAIR_MISFIT:
        # The rule explains the hold without a release: a bend of it would be a false one.
        return by_rule
    dip = _best_dip(hold, motor, near)
    if by_rule is None or (dip is not None and dip.seen):
        return dip
    return replace(by_rule, gain=min(by_rule.gain, UNSURE_GAIN))


def _best_dip(hold: Held, motor: Motor, near: Sequence[float]) -> Dip | None:
    """The release that is told best from a tooth, whatever the motor's switching is."""
    dip: Dip | None = None
    for at in near:
        found = fit_dip(hold, motor, at)
        if found is not None and (dip is None or found.gain > dip.gain):
            dip = found
        if dip is not None and dip.gain > CLEAR_GAIN:
            break
    return dip


def _without_release(y: Floats, dip: Dip | None) -> Hold:
    level = float(np.median(y))
    u = 1.2533 * float(np.std(y)) / np.sqrt(max(1.0, len(y) / 8.0))
    drop, u_drop = (
        (None, None) if dip is None else shrunk(dip.drop, HIDDEN * dip.u_drop, gain=dip.gain)
    )
    return Hold(
        top=level,
        release=level,
        u_release=u,
        at_3s=level,
        drop=drop,
        u_drop=u_drop,
        seen=False,
        release_s=None,
    )


def _released(trace: Trace, dip: Dip) -> Hold:
    """Levels before the fall and after the motor has made it good."""
    settled = trace.y[trace.t > dip.begin_s + 0.8]
    if dip.lasting:
        after = dip.before - dip.drop
    else:
        after = float(np.median(settled)) if len(settled) >= 4 else dip.before
    spread = float(np.std(settled if len(settled) >= 4 else trace.y))
    return Hold(
        top=dip.before,
        release=after,
        u_release=spread / np.sqrt(max(1.0, len(settled) / 8.0)),
        at_3s=dip.before,
        drop=dip.drop,
        u_drop=dip.u_drop,
        seen=True,
        release_s=dip.begin_s,
        misfit=float(np.sqrt(dip.misfit)),
    )
