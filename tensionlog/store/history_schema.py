"""The SQL of the steps that keep a bench's history. Part of released steps: never edited."""

HISTORY = """
CREATE TABLE history (
    recording_id INTEGER NOT NULL REFERENCES recordings ON DELETE CASCADE,
    number INTEGER NOT NULL,
    kind TEXT NOT NULL,
    at_utc_s REAL NOT NULL,
    body TEXT NOT NULL CHECK (json_valid(body)),
    PRIMARY KEY (recording_id, number)
) STRICT;
CREATE TABLE clamp_evidence (
    recording_id INTEGER NOT NULL,
    job_number INTEGER NOT NULL,
    clamp TEXT NOT NULL,
    releases INTEGER NOT NULL,
    could_show INTEGER NOT NULL,
    seen INTEGER NOT NULL,
    dead_band_n REAL NOT NULL,
    dead_band_mm REAL NOT NULL,
    most_mm REAL,
    PRIMARY KEY (recording_id, job_number, clamp),
    FOREIGN KEY (recording_id, job_number) REFERENCES jobs ON DELETE CASCADE
) STRICT;
"""
"""What happened day by day, and what jobs said about the clamps."""

ALERTS = """
ALTER TABLE recordings ADD COLUMN watched INTEGER NOT NULL DEFAULT 0;
CREATE INDEX recordings_unwatched ON recordings (bench, started_utc) WHERE watched = 0;
CREATE TABLE alert_events (
    recording_id INTEGER NOT NULL REFERENCES recordings ON DELETE CASCADE,
    number INTEGER NOT NULL,
    alert TEXT NOT NULL,
    event TEXT NOT NULL,
    at_utc_s REAL NOT NULL,
    body TEXT NOT NULL CHECK (json_valid(body)),
    PRIMARY KEY (recording_id, number)
) STRICT;
CREATE TABLE glances (
    bench TEXT PRIMARY KEY,
    answer TEXT NOT NULL CHECK (json_valid(answer))
) STRICT;
"""
"""Which sittings the watch has looked at, what it made of them, and how a bench stands."""
