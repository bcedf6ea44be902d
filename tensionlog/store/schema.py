"""The SQL of each migration step, as text. Part of released steps: never edited.

Names of columns carry their units. Forces stand in `_n` columns; where a recording has
no calibration these are NULL and the readings stand in the `_counts` column beside.
What a ticket, a note or an answer says in JSON is stored once, as it came; the columns
that people search are generated from it and so cannot disagree with it.
"""

from typing import Final

from tensionlog.store.generated import generated, real, text, whole

RECORDINGS = f"""
CREATE TABLE calibrations (
    calibration_id INTEGER PRIMARY KEY,
    coefficients TEXT NOT NULL CHECK (json_valid(coefficients)),
    name TEXT NOT NULL,
    made_on TEXT
) STRICT;
CREATE TABLE recordings (
    recording_id INTEGER PRIMARY KEY,
    bench TEXT NOT NULL,
    started_utc TEXT NOT NULL,
    purpose TEXT NOT NULL,
    name TEXT NOT NULL,
    sha256 TEXT,
    rate_hz REAL,
    adc_bits INTEGER,
    calibration_id INTEGER REFERENCES calibrations,
    head TEXT,
    tail_m REAL,
    pattern TEXT,
    plain_unit TEXT,
    continues TEXT,
    header TEXT NOT NULL CHECK (json_valid(header)),
    samples INTEGER,
    lasted_s REAL,
    bad_lines INTEGER,
    missing INTEGER,
    restarts INTEGER,
    duplicates INTEGER,
    drift_ppm REAL,
    UNIQUE (bench, started_utc)
) STRICT;
CREATE INDEX recordings_started_utc ON recordings (started_utc);
CREATE INDEX recordings_calibration_id ON recordings (calibration_id);
CREATE TABLE faults (
    recording_id INTEGER NOT NULL REFERENCES recordings ON DELETE CASCADE,
    fault TEXT NOT NULL,
    times INTEGER NOT NULL,
    PRIMARY KEY (recording_id, fault)
) STRICT;
CREATE TABLE notes (
    recording_id INTEGER NOT NULL REFERENCES recordings ON DELETE CASCADE,
    number INTEGER NOT NULL,
    at_utc_s REAL NOT NULL,
    name TEXT NOT NULL,
    body TEXT NOT NULL CHECK (json_valid(body)),
    PRIMARY KEY (recording_id, number)
) STRICT;
CREATE INDEX notes_name ON notes (name);
CREATE VIEW services AS
    SELECT recording_id, number, at_utc_s,
           {text("body", "clamp")} AS clamp, {text("body", "what")} AS what
    FROM notes WHERE name = 'service';
"""
"""One row per sitting, with its calibration, its losses and its notes."""

TICKET = {
    "ref": ("TEXT", text("ticket", "ref")),
    "sport": ("TEXT", text("ticket", "sport")),
    "owner": ("TEXT", text("ticket", "owner")),
    "operator": ("TEXT", text("ticket", "operator")),
    "frame": ("TEXT", text("ticket", "frame")),
    "string_mains": ("TEXT", text("ticket", "string_mains", "string")),
    "string_crosses": ("TEXT", text("ticket", "string_crosses", "string")),
    "gauge_mains_mm": ("REAL", real("ticket", "gauge_mains_mm", "gauge_mm")),
    "gauge_crosses_mm": ("REAL", real("ticket", "gauge_crosses_mm", "gauge_mm")),
    "reel_mains": ("TEXT", text("ticket", "reel_mains", "reel")),
    "reel_crosses": ("TEXT", text("ticket", "reel_crosses", "reel")),
    "mains": ("INTEGER", whole("ticket", "mains")),
    "crosses": ("INTEGER", whole("ticket", "crosses")),
    "target_mains_n": ("REAL", real("ticket", "target_mains_N")),
    "target_crosses_n": ("REAL", real("ticket", "target_crosses_N")),
    "pull_order": (
        "TEXT",
        "CASE json_type(ticket, '$.order') WHEN 'array' THEN 'sequence'"
        " WHEN 'text' THEN json_extract(ticket, '$.order') END",
    ),
    "dial_n": ("REAL", real("ticket", "dial_N")),
    "frame_limit_n": ("REAL", real("ticket", "frame_limit_N")),
    "prestretch_pct": ("REAL", real("ticket", "prestretch_pct")),
    "clamp_left": ("TEXT", text("ticket", "clamps.left")),
    "clamp_right": ("TEXT", text("ticket", "clamps.right")),
    "ea_mains_n": ("REAL", real("ticket", "EA_mains_N", "EA_N")),
    "ea_crosses_n": ("REAL", real("ticket", "EA_crosses_N", "EA_N")),
    "u_ea_pct": ("REAL", real("ticket", "u_EA_pct")),
    "room_c": ("REAL", real("ticket", "room_C")),
    "rh_pct": ("REAL", real("ticket", "rh_pct")),
}

JOBS = f"""
CREATE TABLE jobs (
    recording_id INTEGER NOT NULL REFERENCES recordings ON DELETE CASCADE,
    number INTEGER NOT NULL,
    bed INTEGER NOT NULL,
    ticket TEXT NOT NULL CHECK (json_valid(ticket)),
    started_s REAL NOT NULL,
    ended_s REAL,
    relaxation_per_decade REAL,
    tau_s REAL,
    phi_max REAL NOT NULL,
    phi_measured INTEGER NOT NULL CHECK (phi_measured IN (0, 1)),
    could_show_1mm INTEGER NOT NULL,
    releases INTEGER NOT NULL,
    broke TEXT,
    {generated(TICKET)},
    PRIMARY KEY (recording_id, number)
) STRICT;
CREATE INDEX jobs_ref ON jobs (ref);
CREATE TABLE inspections (
    recording_id INTEGER NOT NULL,
    job_number INTEGER NOT NULL,
    number INTEGER NOT NULL,
    item TEXT NOT NULL,
    answer TEXT NOT NULL,
    PRIMARY KEY (recording_id, job_number, number),
    FOREIGN KEY (recording_id, job_number) REFERENCES jobs ON DELETE CASCADE
) STRICT;
"""
"""One row per `job-start` of a recording; columns of the ticket come from its JSON."""

PULLS = """
CREATE TABLE pulls (
    recording_id INTEGER NOT NULL REFERENCES recordings ON DELETE CASCADE,
    number INTEGER NOT NULL,
    job_number INTEGER,
    bed INTEGER NOT NULL,
    rule TEXT NOT NULL,
    calibration_id INTEGER REFERENCES calibrations,
    kind TEXT NOT NULL,
    position TEXT,
    held_position TEXT,
    void INTEGER NOT NULL CHECK (void IN (0, 1)),
    target_n REAL,
    start_s REAL NOT NULL,
    top_s REAL,
    release_s REAL,
    let_off_s REAL,
    peak_n REAL,
    top_n REAL,
    at_3s_n REAL,
    expected_n REAL,
    release_n REAL,
    drop_n REAL,
    drop_u_n REAL,
    held_n REAL,
    idle_n REAL,
    release_u_n REAL,
    noise_n REAL,
    peak_counts REAL,
    top_counts REAL,
    at_3s_counts REAL,
    expected_counts REAL,
    release_counts REAL,
    drop_counts REAL,
    drop_u_counts REAL,
    held_counts REAL,
    idle_counts REAL,
    release_u_counts REAL,
    noise_counts REAL,
    seen INTEGER NOT NULL CHECK (seen IN (0, 1)),
    clamp_opened TEXT,
    clamp_shut TEXT,
    at_least_lost_n REAL,
    at_least_give_mm REAL,
    relaxation_per_decade REAL,
    loss_n REAL GENERATED ALWAYS AS (target_n - release_n) VIRTUAL,
    loss_pct REAL GENERATED ALWAYS AS
        (100.0 * (target_n - release_n) / target_n) VIRTUAL,
    PRIMARY KEY (recording_id, number),
    FOREIGN KEY (recording_id, job_number) REFERENCES jobs ON DELETE CASCADE
        DEFERRABLE INITIALLY DEFERRED,
    CHECK ((peak_n IS NULL) <> (peak_counts IS NULL))
) STRICT;
CREATE INDEX pulls_job ON pulls (recording_id, job_number);
CREATE INDEX pulls_calibration_id ON pulls (calibration_id);
CREATE TABLE pull_flags (
    recording_id INTEGER NOT NULL,
    pull_number INTEGER NOT NULL,
    number INTEGER NOT NULL,
    flag TEXT NOT NULL,
    PRIMARY KEY (recording_id, pull_number, number),
    FOREIGN KEY (recording_id, pull_number) REFERENCES pulls ON DELETE CASCADE
) STRICT;
CREATE TABLE traces (
    recording_id INTEGER NOT NULL,
    pull_number INTEGER NOT NULL,
    samples_zlib BLOB NOT NULL,
    PRIMARY KEY (recording_id, pull_number),
    FOREIGN KEY (recording_id, pull_number) REFERENCES pulls ON DELETE CASCADE
) STRICT;
"""
"""One row per pull and its trace; a pull names its rule and its calibration.

A pull may be written before its job inside one transaction, so that key is only looked
at when the transaction ends.
"""


def _numbers(*keys: str) -> dict[str, tuple[str, str]]:
    return {key.lower(): ("REAL", real("answer", key)) for key in keys}


def _words(*keys: str) -> dict[str, tuple[str, str]]:
    return {key: ("TEXT", text("answer", key)) for key in keys}


ANSWERS = {
    "checks": _numbers(
        "zero_N",
        "span_error_pct",
        "u_span_error_pct",
        "repeatability_pct",
        "reversibility_pct",
        "nonlinearity_pct",
        "zero_return_N",
    )
    | _words("verdict"),
    "holds": _words("clamp")
    | _numbers(
        "held_N",
        "hand_off_loss_N",
        "u_N",
        "give_mm",
        "u_give_mm",
        "flex_mm",
        "slip_mm",
        "creep_N_per_s",
        "u_creep_N_per_s",
    )
    | _words("verdict"),
    "head_pulls": _numbers("set_N", "peak_N", "at_3s_N"),
    "turns": _numbers("phi_rest", "phi_tapped", "u"),
    "stiffness": _numbers("EA_N", "u_EA_N"),
}


def answer_table(name: str) -> str:
    """SQL of the table `name` of `ANSWERS`."""
    return f"""
CREATE TABLE {name} (
    recording_id INTEGER NOT NULL REFERENCES recordings ON DELETE CASCADE,
    number INTEGER NOT NULL,
    answer TEXT NOT NULL CHECK (json_valid(answer)),
    {generated(ANSWERS[name])},
    PRIMARY KEY (recording_id, number)
) STRICT;
"""


BOOTS = """
CREATE TABLE boots (
    recording_id INTEGER NOT NULL REFERENCES recordings ON DELETE CASCADE,
    boot INTEGER NOT NULL,
    start_s REAL NOT NULL,
    PRIMARY KEY (recording_id, boot)
) STRICT;
"""
"""Where each start of the device lies on the recording's axis, so that traces can be drawn."""

ANSWER_TABLES: Final = {
    "check": "checks",
    "hold": "holds",
    "head": "head_pulls",
    "turn": "turns",
    "stiffness": "stiffness",
    "calibration": "calibration_results",
}
"""Kinds of answers to the table of each."""


def answer_table_of(kind: str) -> str:
    """Name of the table for answers of `kind`.

    Raises:
        ValueError: It is none of `ANSWER_TABLES`.
    """
    if kind not in ANSWER_TABLES:
        raise ValueError(f"an answer is one of {', '.join(ANSWER_TABLES)}, not {kind!r}")
    return ANSWER_TABLES[kind]
