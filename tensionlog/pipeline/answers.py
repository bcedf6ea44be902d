"""The pinned JSON object of a recording."""

from collections.abc import Mapping
from dataclasses import asdict
from math import isfinite
from typing import Any

from tensionlog.model.pull import Pull
from tensionlog.model.sitting import Found
from tensionlog.pipeline.sitting import Whole

FORCES = (
    "target", "peak", "top", "at_3s", "expected", "release", "drop", "drop_u", "loss",
    "held", "idle", "release_u", "noise",
)  # fmt: skip
"""Fields of a `Pull` that carry its unit; `_N` or `_counts` is put behind their names."""


def answer(whole: Whole, *, name: str) -> dict[str, Any]:
    """One recording as `replay --json` prints it; what is not known is null, never NaN."""
    ledger = whole.ledger
    answered: dict[str, Any] = clean(
        {
            "recording": name,
            "bench": whole.header.bench,
            "started": whole.header.raw.get("started"),
            "purpose": whole.header.purpose,
            "samples": ledger.samples,
            "seconds": round(ledger.seconds, 6),
            "bad_lines": ledger.bad_lines,
            "missing": ledger.missing,
            "restarts": ledger.restarts,
            "duplicates": ledger.duplicates,
            "faults": dict(ledger.faults),
            "pulls": [pull_answer(found.pull) | _by_lever(found) for found in whole.found],
            "levers": None if whole.levers is None else asdict(whole.levers),
            "check": whole.tests.check,
            "hold": whole.tests.hold,
            "holds": list(whole.tests.holds),
            "head": whole.tests.head,
            "turn": whole.tests.turn,
            "stiffness": whole.tests.stiffness,
            "calibration": whole.tests.calibration,
        }
    )
    return answered


def _by_lever(found: Found) -> dict[str, Any]:
    """What a lever said of the release, and what the trace alone would have."""
    lever = found.lever
    if lever is None:
        return {}
    unit = "N" if found.pull.unit == "N" else "counts"
    return {
        "lever_s": lever.at_s,
        "lever_clamp": lever.clamp,
        "by_trace_release_s": lever.by_trace_s,
        f"by_trace_drop_{unit}": lever.by_trace_drop,
    }


def pull_answer(pull: Pull) -> dict[str, Any]:
    """One pull in the pinned form, forces under `_N`, or `_counts` without a calibration."""
    forces: dict[str, Any] = {}
    for field in FORCES:
        value = getattr(pull, field)
        forces[f"{field}_N"] = value if pull.unit == "N" else None
        if pull.unit != "N" and field not in ("target", "expected", "loss"):
            forces[f"{field}_counts"] = value
    return {
        "kind": pull.kind,
        "position": pull.position,
        "held_position": pull.held_position,
        "void": pull.void,
        "start_s": pull.start_s,
        "top_s": pull.top_s,
        "release_s": pull.release_s,
        "let_off_s": pull.let_off_s,
        **forces,
        "seen": pull.seen,
        "loss_pct": pull.loss_pct if pull.unit == "N" else None,
        "clamp_opened": pull.clamp_opened,
        "clamp_shut": pull.clamp_shut,
        "at_least_lost_N": pull.at_least_lost,
        "at_least_give_mm": pull.at_least_give_mm,
        "relaxation": pull.relaxation,
        "flags": list(pull.flags),
    }


def clean(value: Any) -> Any:
    """Plain numbers, texts, lists and objects; a number that is none becomes null."""
    if isinstance(value, Mapping):
        return {str(k): clean(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [clean(v) for v in value]
    if isinstance(value, bool) or value is None or isinstance(value, int | str):
        return value
    number = float(value)
    return number if isfinite(number) else None
