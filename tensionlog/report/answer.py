"""The report's numbers as one JSON object, for whoever reads with a program.

Keys end in their unit. What is not known is null, never NaN. Without a calibration
every `*_N` is null and the reading stands as `*_counts`.
"""

import math
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from tensionlog.report.basis import basis_info
from tensionlog.report.rows import Row, rows
from tensionlog.report.spread import Group, Redone, Spread, spread_info
from tensionlog.report.verdict import reasons, sentence, verdict_info
from tensionlog.report.view import JobView


def job_json(view: JobView) -> dict[str, Any]:
    """Give the numbers that the page shows, in newtons whatever the reader's unit."""
    unit = "counts" if not view.is_calibrated else "N"
    answer = {
        "recording": view.recording,
        "bench": view.header.bench,
        "started": view.header.started.isoformat(),
        "ref": view.job.ref,
        "bed": view.run.bed,
        "broke": view.run.broke,
        "ended": view.run.ended_s is not None,
        "verdict": _verdict(view),
        "strings": [_string(row) for row in rows(view)],
        **_spread(spread_info(view), unit),
        "basis": asdict(basis_info(view)),
    }
    return {key: finite(entry) for key, entry in answer.items()}


def finite(entry: Any) -> Any:
    """Turn anything that JSON has no word for into null, however deep it lies."""
    if isinstance(entry, float):
        return entry if math.isfinite(entry) else None
    if isinstance(entry, Mapping):
        return {str(key): finite(inner) for key, inner in entry.items()}
    if isinstance(entry, list | tuple):
        return [finite(inner) for inner in entry]
    return entry


def _force(name: str, force: float | None, unit: str) -> dict[str, float | None]:
    if unit == "counts":
        return {f"{name}_N": None, f"{name}_counts": force}
    return {f"{name}_N": force}


def _verdict(view: JobView) -> dict[str, Any]:
    verdict = verdict_info(view)
    return {
        "text": sentence(verdict),
        "strings": verdict.total,
        "within": verdict.within,
        "off": verdict.off,
        "look": [
            {"position": row.name, "why": reasons(row, view.reader, view.limits)}
            for row in verdict.look
        ],
        "unjudged": verdict.unjudged,
        "missing": verdict.missing,
        "against": verdict.against,
        "common_pct": verdict.common_pct,
        "within_pct": view.limits.within_pct,
        "look_pct": view.limits.look_pct,
        "give_look_mm": view.limits.give_look_mm,
    }


def _string(row: Row) -> dict[str, Any]:
    pull, unit = row.pull, row.unit
    calibrated = unit != "counts"
    return {
        "number": row.number,
        "kind": pull.kind,
        "position": pull.position,
        "held_position": pull.held_position,
        "state": row.state,
        "void": pull.void,
        "target_N": pull.target if calibrated else None,
        "expected_N": pull.expected if calibrated else None,
        "off_N": row.off,
        "off_pct": row.off_pct,
        "against": row.against,
        "loss_N": row.loss,
        "loss_pct": row.loss_pct,
        **_force("peak", pull.peak, unit),
        **_force("top", pull.top, unit),
        **_force("release", pull.release, unit),
        **_force("reading_u", row.reading_u, unit),
        **_force("drop", pull.drop, unit),
        **_force("drop_u", pull.drop_u, unit),
        **_force("drop_below", row.drop_below, unit),
        "seen": pull.seen,
        "at_least_lost_N": pull.at_least_lost,
        "at_least_give_mm": pull.at_least_give_mm,
        "itself_lost_at_least_N": row.held_lost,
        "itself_gave_at_least_mm": row.held_give_mm,
        "told_by": row.told_by,
        "clamp_opened": pull.clamp_opened,
        "clamp_shut": pull.clamp_shut,
        "flags": pull.flags,
    }


def _spread(spread: Spread, unit: str) -> dict[str, Any]:
    return {
        "of": spread.of,
        "groups": [_group(group, unit) for group in spread.groups],
        **_force("left_minus_right", spread.side_difference, unit),
        **_force("left_minus_right_u", spread.side_u, unit),
        "clamps": [asdict(clamp) for clamp in spread.clamps],
        "redone": [_redone(again, unit) for again in spread.redone],
        "early_clamped": spread.early,
    }


def _group(group: Group, unit: str) -> dict[str, Any]:
    return {
        "name": group.name,
        "n": group.n,
        **_force("mean", group.mean, unit),
        **_force("mean_u", group.u_mean, unit),
        **_force("sd", group.sd, unit),
        **_force("median", group.median, unit),
        **_force("mad", group.mad, unit),
        "outliers": group.outliers,
    }


def _redone(again: Redone, unit: str) -> dict[str, Any]:
    return {
        "position": again.name,
        "number": again.number,
        "stood_number": again.stood_number,
        **_force("release", again.release, unit),
        **_force("stood_release", again.stood_release, unit),
    }
