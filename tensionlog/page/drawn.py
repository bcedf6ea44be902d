"""What the page draws: the string bed with its counts, and the last pull's trace."""

from collections.abc import Mapping
from typing import Any, Final

import numpy as np

from tensionlog.model.job import Job
from tensionlog.model.pull import Pull
from tensionlog.model.sitting import Found
from tensionlog.page.verdict import is_loss, off_pct
from tensionlog.pipeline.now import Now
from tensionlog.pipeline.quick import Lap, Standing
from tensionlog.report.rounding import Reader
from tensionlog.report.view import Limits

TRACE_POINTS: Final = 240
"""Points of the last pull's trace: a canvas some six hundred wide shows no more."""


def counts(standing: Standing | None) -> dict[str, int]:
    """Strings that stand, left and right of the centre and across, and how many there are."""
    done = {"L": 0, "R": 0, "X": 0}
    names = {p for lap in _standing_laps(standing) if (p := lap.place.position)}
    for name in names:
        done[name[0]] += 1
    totals = {"L": 0, "R": 0, "X": 0}
    for position in standing.jobs[-1].sequence if standing and standing.jobs else ():
        totals[position[0]] += 1
    return {
        "left": done["L"], "left_of": totals["L"],
        "right": done["R"], "right_of": totals["R"],
        "crosses": done["X"], "crosses_of": totals["X"],
    }  # fmt: skip


def _standing_laps(standing: Standing | None) -> list[Lap]:
    """Laps of the bed under way that were not taken back, the one still held left out."""
    if standing is None or not standing.laps:
        return []
    number = len(standing.jobs)
    laps = standing.laps[:-1] if standing.is_loaded else standing.laps
    return [lap for lap in laps if not lap.place.void and lap.place.job_number == number]


def bed(job: Job, standing: Standing | None, pulls: Mapping[int, Pull]) -> dict[str, Any]:
    """The string bed: each string with where it lies and how it stands."""
    states: dict[str, str] = {}
    laps = () if standing is None else standing.laps
    held = {id(lap) for lap in _standing_laps(standing)}
    for number, lap in enumerate(laps):
        position = lap.place.position
        if position is None or id(lap) not in held:
            continue
        pull = pulls.get(number)
        states[position] = "done" if states.get(position) != "lost" else "lost"
        if pull is not None and _is_off(pull):
            states[position] = "off"
        if pull is not None and pull.held_position and is_loss(pull, Limits()):
            states[pull.held_position] = "lost"
    n_left = job.mains // 2
    mains = [f"L{n_left - i}" if i < n_left else f"R{i - n_left + 1}" for i in range(job.mains)]
    top = job.raw.get("crosses_from") != "bottom"
    crosses = [f"X{i + 1}" for i in range(job.crosses)]
    wide, long = job.raw.get("head_wide_m"), job.raw.get("head_long_m")
    is_known = isinstance(wide, int | float) and isinstance(long, int | float)
    return {
        "mains": [[name, states.get(name, "")] for name in mains],
        "crosses": [
            [name, states.get(name, "")] for name in (crosses if top else crosses[::-1])
        ],
        "ratio": float(wide) / float(long) if is_known and wide and long else 0.78,
    }


def _is_off(pull: Pull) -> bool:
    off = off_pct(pull)
    return off is not None and abs(off) > Limits().look_pct


def trace(now: Now, reader: Reader) -> dict[str, Any] | None:
    """The last pull that was let off, thinned; the page draws the one under way itself."""
    found = now.whole.found if now.whole is not None else ()
    if not found:
        return None
    last = found[-1]
    points = _points(last, now, reader)
    pull = last.pull
    start_s = pull.start_s
    return {
        "pull": last.number,
        "position": pull.position or "",
        "points": points,
        "target": None if pull.target is None else reader.convert(pull.target),
        "release": None
        if pull.release_s is None or pull.release is None
        else [round(pull.release_s - start_s, 3), round(reader.convert(pull.release), 2)],
    }


def _points(found: Found, now: Now, reader: Reader) -> list[list[float]]:
    """Seconds from the pull's start and force above empty, at most `TRACE_POINTS`."""
    trace, pull = found.trace, found.pull
    if not len(trace.t_s) or now.whole is None:
        return []
    boots = now.whole.boot_starts_s
    shift = boots[trace.boot] if trace.boot < len(boots) else 0.0
    t = trace.t_s + shift - pull.start_s
    calibration = now.header.calibration if now.header is not None else None
    is_force = calibration is not None and pull.unit == "N"
    force = calibration.force_n(trace.counts) if is_force and calibration else trace.counts
    force = force - (pull.idle or 0.0)
    end = (pull.let_off_s or pull.start_s + 20.0) - pull.start_s + 0.4
    keep = np.flatnonzero((t > -0.3) & (t < end))
    keep = keep[:: max(1, -(-len(keep) // TRACE_POINTS))]
    return [
        [round(float(t[i]), 3), round(float(reader.convert(float(force[i]))), 2)] for i in keep
    ]
