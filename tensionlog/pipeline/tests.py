"""Read the tests of a sitting: what was kept of them, and the notes that frame it."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from tensionlog.model.pull import Pull
from tensionlog.pipeline.windows import Interval, Tests, head_answers, intervals

if TYPE_CHECKING:
    from tensionlog.pipeline.gather import Gatherer


def read_tests(
    gathered: "Gatherer", *, pulls: Sequence[Pull], dialled: Sequence[float | None]
) -> Tests:
    """Answer every test of the sitting."""
    if not gathered.windows.keeping:
        return Tests()
    found = list(intervals(gathered.timed_notes()))
    holds = tuple(_hold(gathered, i) for i in found if i.note.name == "hold-start")
    check = next((_check(gathered, i) for i in found if i.note.name == "check-start"), None)
    return Tests(
        check=check,
        hold=holds[0] if holds else None,
        holds=holds,
        head=head_answers(pulls, dialled),
        turn=None,
        stiffness=None,
    )


def _check(gathered: "Gatherer", interval: Interval) -> dict[str, Any]:
    from tensionlog.check.analysis import analyse_check
    from tensionlog.check.result import Load

    notes = [(at, n) for at, n in gathered.timed_notes() if at >= interval.begin_s]
    loads = [(at, n) for at, n in notes if n.name == "load" and at <= interval.end_s]
    ends = ("check-end", "dial", "hold-start", "turn-start", "stiff-start")
    last = loads[-1][0] if loads else interval.begin_s
    t, counts = gathered.windows.samples(gathered.timeline)
    end_s = min((at for at, n in notes if n.name in ends and at > last), default=float(t[-1]))
    result = analyse_check(
        t_s=t,
        counts=counts,
        loads=[
            Load(at, mass_kg=n.body.get("mass_kg"), force_n=n.body.get("force_N"))
            for at, n in loads
        ],
        start_s=interval.begin_s,
        end_s=end_s,
        calibration=gathered.header.calibration,
        reference=interval.note.body,
        adc_bits=gathered.header.adc_bits,
        complete=interval.is_ended,
    )
    return result.answer()


def _hold(gathered: "Gatherer", interval: Interval) -> dict[str, Any]:
    from tensionlog.clamps.hold import measure_hold

    notes = [
        (at, n) for at, n in gathered.timed_notes() if interval.begin_s <= at <= interval.end_s
    ]
    t, counts = gathered.windows.samples(gathered.timeline)
    part = (t >= interval.begin_s - 5.0) & (t <= interval.end_s)
    calibration, body = gathered.header.calibration, interval.note.body
    result = measure_hold(
        t_s=t[part],
        readings=counts[part] if calibration is None else calibration.force_n(counts[part]),
        clamp=str(body.get("clamp", "?")),
        target_n=float(body.get("target_N") or np.nan),
        span_m=body.get("span_m"),
        ea_n=body.get("EA_N"),
        u_ea_pct=float(body.get("u_EA_pct", 30.0)),
        hand_off_s=next((at for at, n in notes if n.name == "hand-off"), None),
        re_pull_s=next((at for at, n in notes if n.name == "re-pull"), None),
        end_s=min(interval.end_s, float(t[-1])),
        unit="counts" if calibration is None else "N",
        head=gathered.header.head,
    )
    return result.answer()
