"""When the clamp was shut, under a head that holds the force.

Nobody notes it, and it matters: the string behind a shut clamp has a fixed length and
relaxes, while the head goes on as before. Every time is tried and weighed by how well
everything before and after the hand-off is then explained.
"""

import numpy as np

from tensionlog.clamps.fit import Fit, Prior, fit_rows
from tensionlog.clamps.missed import with_step
from tensionlog.clamps.rows import hold_rows
from tensionlog.clamps.slips import ONE_WANDER
from tensionlog.clamps.trace import Readings

LONGEST_SHUT_S, SHORTEST_HOLD_S, SHUT_STEP_S = 2.5, 0.8, 0.2
SHUT_BEFORE_S = 0.59
FEW_MOVES = 6
"""Enough to tell when the clamp was shut, from where all else is known."""


def with_shut(fit: Fit, trace: Readings, head: str | None, prior: Prior) -> list[Fit]:
    """The fit and those with the clamp shut at some time, the likeliest first.

    Where the head holds the force the reading is its own until the clamp is shut; then the
    string behind the clamp has a fixed length and relaxes. When that was nobody notes.
    """
    marks = fit.rows.marks
    longest_s = min(LONGEST_SHUT_S, marks.hand_off_s - marks.top_s - SHORTEST_HOLD_S)
    fits = {0.0: fit}

    def add(ago_s: float) -> None:
        if ago_s in fits or not SHUT_BEFORE_S < ago_s < longest_s:
            return
        rows = hold_rows(trace, marks, head=head, shut_s=marks.hand_off_s - ago_s)
        for at_s in fit.rows.slips_s:
            rows = with_step(rows, at_s, trace.response_s)
        fits[ago_s] = fit_rows(rows, prior, ONE_WANDER, start=fit.theta, moves=FEW_MOVES)

    for ago_s in np.arange(3.0 * SHUT_STEP_S, longest_s, SHUT_STEP_S):
        add(float(ago_s))
    for ago_s in sorted(fits, key=lambda ago_s: -likely(fits[ago_s]))[:3]:
        add(ago_s - 0.5 * SHUT_STEP_S)
        add(ago_s + 0.5 * SHUT_STEP_S)
    return sorted(fits.values(), key=likely, reverse=True)


def likely(fit: Fit) -> float:
    """Log of how likely everything before and after the hand-off is, against noise."""
    rows = fit.rows
    # The one level is no reading: what it is worth stands in its own evidence.
    level = int(np.flatnonzero(rows.loaded > 0)[0])
    read = np.arange(rows.t_s.size) != level
    known = fit.evidence + 0.5 * float(np.log(rows.variance[read]).sum())
    return known + rows.evidence
