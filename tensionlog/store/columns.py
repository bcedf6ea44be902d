"""Nouns to rows of columns and back, both directions side by side."""

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from hashlib import sha256
from typing import Any, Final

from tensionlog.model.pull import Pull
from tensionlog.model.recording import Calibration, Header, Note
from tensionlog.model.sitting import Found, JobRun, Ledger
from tensionlog.store.jsontext import exact_json_text, json_text, storable_text

Row = dict[str, Any]

_HEADER: Final = ("rate_hz", "adc_bits", "head", "tail_m", "pattern", "continues")
_LEDGER: Final = ("samples", "bad_lines", "missing", "restarts", "duplicates")
_RUN: Final = ("bed", "started_s", "ended_s", "tau_s", "phi_max", "could_show_1mm")
_FORCES: Final = tuple(
    "peak top at_3s expected release drop drop_u held idle release_u noise".split()
)
_PULL: Final = {
    "kind": "kind",
    "position": "position",
    "held_position": "held_position",
    "void": "void",
    "target_n": "target",
    "start_s": "start_s",
    "top_s": "top_s",
    "release_s": "release_s",
    "let_off_s": "let_off_s",
    "seen": "seen",
    "clamp_opened": "clamp_opened",
    "clamp_shut": "clamp_shut",
    "at_least_lost_n": "at_least_lost",
    "at_least_give_mm": "at_least_give_mm",
    "relaxation_per_decade": "relaxation",
}


def recording_id(bench: str, started: datetime) -> int:
    """Number of a sitting: the same whenever and in whatever order it is stored.

    53 bits of a digest, so that it survives JSON; ten thousand sittings meet one
    another's number with a chance of 6e-9, and `begin` would refuse, not overwrite.
    """
    return _number_of(f"{storable_text(bench)}\n{utc_text(started)}")


def calibration_id(calibration: Calibration) -> int:
    """Number of a calibration, made from all that it says."""
    return _number_of(json_text(list(calibration_row(calibration).values())))


def _number_of(text: str) -> int:
    return int.from_bytes(sha256(text.encode()).digest()[:8]) >> 11


def utc_text(moment: datetime) -> str:
    """UTC as text of one width, so that texts sort as times do.

    Raises:
        ValueError: `moment` does not say its zone.
    """
    if moment.tzinfo is None:
        raise ValueError(f"a time must say its zone, not {moment!r}")
    utc = moment.astimezone(UTC).replace(tzinfo=None)
    return f"{utc.isoformat(timespec='microseconds')}Z"


def utc_of(text: str) -> datetime:
    """The time that `utc_text` wrote."""
    return datetime.fromisoformat(text)


def calibration_row(calibration: Calibration) -> Row:
    """Columns of a calibration, but for its number."""
    return {
        "coefficients": exact_json_text([float(c) for c in calibration.coefficients]),
        "name": calibration.name,
        "made_on": calibration.date,
    }


def header_row(header: Header) -> Row:
    """Columns of a recording that come from its header, but for the calibration's."""
    row = {name: getattr(header, name) for name in _HEADER}
    return row | {
        "bench": header.bench,
        "started_utc": utc_text(header.started),
        "purpose": header.purpose,
        "plain_unit": header.unit,
        "header": json_text(header.raw),
    }


def header_of(row: Mapping[str, Any]) -> Header:
    """The header in a row of recordings joined with calibrations (`calibration_name`)."""
    calibration = None
    if row["coefficients"] is not None:
        calibration = Calibration(
            tuple(json.loads(row["coefficients"])), row["calibration_name"], row["made_on"]
        )
    return Header(
        bench=row["bench"],
        purpose=row["purpose"],
        started=utc_of(row["started_utc"]),
        calibration=calibration,
        unit=row["plain_unit"],
        raw=json.loads(row["header"]),
        **{name: row[name] for name in _HEADER},
    )


def ledger_row(ledger: Ledger) -> Row:
    """Columns of a recording that come from its ledger, but for the faults."""
    row = {name: getattr(ledger, name) for name in _LEDGER}
    return row | {"lasted_s": ledger.seconds}


def ledger_of(row: Mapping[str, Any], faults: Mapping[str, int]) -> Ledger | None:
    """The ledger in a row of recordings, or None where it was never finished."""
    if row["samples"] is None:
        return None
    counts = {name: row[name] for name in _LEDGER}
    return Ledger(seconds=row["lasted_s"], faults=faults, **counts)


def note_row(note: Note) -> Row:
    """Columns of a note."""
    return {"at_utc_s": note.at_s, "name": note.name, "body": json_text(note.body)}


def note_of(row: Mapping[str, Any]) -> Note:
    """The note in a row of notes."""
    return Note(row["at_utc_s"], row["name"], json.loads(row["body"]))


def run_row(run: JobRun) -> Row:
    """Columns of a job, but for its inspections."""
    row = {name: getattr(run, name) for name in _RUN}
    return row | {
        "number": run.number,
        "ticket": json_text(run.raw),
        "relaxation_per_decade": run.relaxation,
        "phi_measured": run.phi_measured,
        "releases": run.releases,
        "broke": run.broke,
    }


def run_of(row: Mapping[str, Any], inspections: tuple[tuple[str, str], ...]) -> JobRun:
    """The job in a row of jobs."""
    return JobRun(
        number=row["number"],
        raw=json.loads(row["ticket"]),
        relaxation=row["relaxation_per_decade"],
        phi_measured=bool(row["phi_measured"]),
        releases=row["releases"],
        broke=row["broke"],
        inspections=inspections,
        **{name: row[name] for name in _RUN},
    )


def pull_row(found: Found) -> Row:
    """Columns of a pull, but for its calibration, flags and trace."""
    pull = found.pull
    if pull.unit not in ("N", "counts"):
        raise ValueError(f"the unit of a pull is 'N' or 'counts', not {pull.unit!r}")
    used, unused = ("n", "counts") if pull.unit == "N" else ("counts", "n")
    row: Row = {column: getattr(pull, name) for column, name in _PULL.items()}
    for force in _FORCES:
        row[f"{force}_{used}"] = getattr(pull, force)
        row[f"{force}_{unused}"] = None
    return row | {
        "number": found.number,
        "job_number": found.job_number,
        "bed": found.bed,
        "rule": found.rule,
    }


def pull_of(row: Mapping[str, Any], flags: tuple[str, ...]) -> Pull:
    """The pull in a row of pulls."""
    unit, suffix = ("counts", "counts") if row["peak_n"] is None else ("N", "n")
    numbers = {force: row[f"{force}_{suffix}"] for force in _FORCES}
    others = {name: row[column] for column, name in _PULL.items()}
    others |= {"void": bool(row["void"]), "seen": bool(row["seen"])}
    return Pull(unit=unit, flags=flags, **numbers, **others)


def checked(row: Row) -> Row:
    """Give `row` with text that a database can hold.

    Raises:
        ValueError: A number is NaN, which SQLite would silently keep as "not known".
    """
    for name, value in row.items():
        if value != value:  # NaN alone is not itself
            raise ValueError(f"what is not known is None, not {name}={value!r}")
    return {
        name: storable_text(value) if isinstance(value, str) else value
        for name, value in row.items()
    }
