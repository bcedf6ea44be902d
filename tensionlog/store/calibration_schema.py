"""The SQL of the step that keeps calibrations. Part of a released step: never edited."""

from typing import Final

from tensionlog.store.generated import generated, real, text, whole

_RESULT: Final = {
    "name": ("TEXT", text("answer", "name")),
    "made_on": ("TEXT", text("answer", "date")),
    "zero_counts": ("REAL", real("answer", "zero_counts")),
    "u_reference_pct": ("REAL", real("answer", "u_reference_pct")),
    "residual_sd_counts": ("REAL", real("answer", "fit.residual_sd")),
    "lower_limit_factor_n": ("REAL", real("answer", "lower_limit_factor_N")),
    "loads": ("INTEGER", whole("answer", "loads")),
    "runs": ("INTEGER", whole("answer", "runs")),
}

_POINT: Final = {
    "reference_n": "reference_N",
    "reading_n": "reading_N",
    "error_n": "error_N",
    "u_n": "u_N",
    "load": "load",
    "direction": "direction",
}

_POINTS: Final = ", ".join(
    f"json_extract(p.value, '$.{key}') AS {name}" for name, key in _POINT.items()
)

CALIBRATIONS: Final = f"""
CREATE TABLE calibration_results (
    recording_id INTEGER NOT NULL REFERENCES recordings ON DELETE CASCADE,
    number INTEGER NOT NULL,
    answer TEXT NOT NULL CHECK (json_valid(answer)),
    {generated(_RESULT)},
    PRIMARY KEY (recording_id, number)
) STRICT;
CREATE VIEW check_points AS
    SELECT checks.recording_id, checks.number, p.key + 1 AS point, {_POINTS}
    FROM checks, json_each(checks.answer, '$.points') p;
CREATE VIEW calibration_decisions AS
    SELECT recording_id, number, at_utc_s, name AS decision,
           {text("body", "calibration.name")} AS calibration, body
    FROM notes
    WHERE name IN ('calibration-adopt', 'calibration-undo', 'recompute');
"""
"""Full calibrations with their covariance; the loads of checks; what was decided.

Loads and decisions stand in the answers and notes already: views show them as rows.
"""
