"""The lines that open a recording."""

import json
import math
import re
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from tensionlog.errors import RecordingError
from tensionlog.model.recording import HEADS, PURPOSES, Calibration, Header

MAGIC = "# tensionlog-recording"
VERSION = "1"

_FORMS = {
    b"SQLite format 3": "an SQLite database",
    b"\x89PNG": "a PNG picture",
    b"\xff\xd8\xff": "a JPEG picture",
    b"PK\x03\x04": "a zip archive",
    b"%PDF": "a PDF",
    b"\x7fELF": "a program",
    b"PAR1": "a Parquet file",
    b"BZh": "a bzip2 archive",
    b"\xfd7zXZ": "an xz archive",
    b"<": "a web page or XML",
    b"{": "JSON",
    b"[": "JSON or settings",
    b"S,": "device lines without a header",
}


def parse_header(name: str, lines: list[bytes], beginning: bytes) -> Header:
    """Read the leading `# ` lines of a recording.

    Args:
        name: Name of the file, for the errors.
        lines: The leading lines that begin with `# `, without their ends.
        beginning: The first bytes of the file, to say what else it may be.

    Raises:
        RecordingError: It is not a recording, or its header says nothing allowed.
    """
    _check_magic(name, lines, beginning)
    raw = _json_object(name, lines)
    field = _Fields(name, raw)
    return Header(
        bench=field.text("bench"),
        purpose=field.one_of("purpose", PURPOSES) or "free",
        started=field.time("started"),
        rate_hz=field.number("rate_hz", above=0.0),
        adc_bits=field.whole("adc_bits", lowest=2, highest=32),
        calibration=_calibration(field),
        head=field.one_of("tensioner", HEADS),
        tail_m=field.number("tail_m", above=-1e-9),
        pattern=_pattern(field),
        unit=field.maybe_text("unit"),
        continues=field.maybe_text("continues"),
        raw=raw,
    )


def idle_header(raw: Mapping[str, Any]) -> Header:
    """The header by which a bench is read while nothing is recorded.

    Args:
        raw: As a recording's would be, without its start.

    Raises:
        RecordingError: It says nothing allowed.
    """
    stated = {"started": "1970-01-01T00:00:00Z", **raw}
    lines = [f"{MAGIC} {VERSION}".encode(), b"# " + json.dumps(stated).encode()]
    return parse_header("the bench's set-up", lines, b"")


def _check_magic(name: str, lines: list[bytes], beginning: bytes) -> None:
    first = lines[0].decode("utf-8", "replace").strip() if lines else ""
    magic, _, version = first.rpartition(" ")
    if magic != MAGIC:
        raise RecordingError(
            f"{name} is not a recording: it begins with {beginning[:24]!r}"
            f"{_guess(beginning)}, not with '{MAGIC} {VERSION}'."
        )
    if version != VERSION:
        raise RecordingError(
            f"{name} is a recording of version {version[:20]!r}, this tensionlog reads version "
            f"{VERSION}. Upgrade tensionlog."
        )


def _guess(beginning: bytes) -> str:
    for magic, form in _FORMS.items():
        if beginning.startswith(magic):
            return f" ({form})"
    return ""


def _json_object(name: str, lines: list[bytes]) -> Mapping[str, Any]:
    text = lines[1][2:] if len(lines) > 1 else b""
    try:
        raw = json.loads(text.decode("utf-8"))
    except ValueError as error:
        raise RecordingError(
            f"the header of {name} is not JSON: {error}. Its second line reads {text[:40]!r}."
        ) from error
    if not isinstance(raw, dict):
        raise RecordingError(f"the header of {name} is not a JSON object: {text[:40]!r}.")
    return raw


class _Fields:
    """The header's fields, each checked as it is taken."""

    def __init__(self, name: str, raw: Mapping[str, Any]) -> None:
        self.raw = raw
        self._name = name

    def wrong(self, key: str, allowed: str) -> RecordingError:
        """The error that says which value is wrong and what is allowed."""
        stated = json.dumps(self.raw[key])[:60] if key in self.raw else "missing"
        return RecordingError(
            f"the header of {self._name} needs {allowed} as '{key}', which is {stated}."
        )

    def text(self, key: str) -> str:
        found = self.maybe_text(key)
        if found is None:
            raise self.wrong(key, "a text")
        return found

    def maybe_text(self, key: str) -> str | None:
        found = self.raw.get(key)
        if found is None or (isinstance(found, str) and found.strip()):
            return found
        raise self.wrong(key, "a text")

    def time(self, key: str) -> datetime:
        found = parse_time(self.text(key))
        if found is None:
            raise self.wrong(key, "a time such as 2026-03-02T09:00:00Z")
        return found

    def number(self, key: str, *, above: float) -> float | None:
        found = self.raw.get(key)
        if found is None:
            return None
        if not is_number(found) or not found > above:
            raise self.wrong(key, f"a number above {max(above, 0.0):g}")
        return float(found)

    def whole(self, key: str, *, lowest: int, highest: int) -> int | None:
        found = self.number(key, above=lowest - 0.5)
        if found is None:
            return None
        if found != int(found) or found > highest:
            raise self.wrong(key, f"a whole number from {lowest} to {highest}")
        return int(found)

    def one_of(self, key: str, allowed: tuple[str, ...]) -> str | None:
        found = self.maybe_text(key)
        if found is None:
            return None
        plain = re.sub(r"[\s_-]+", "-", found.strip().lower())
        if plain not in allowed:
            raise self.wrong(key, f"one of {', '.join(allowed)}")
        return plain


def _calibration(field: _Fields) -> Calibration | None:
    stated = field.raw.get("calibration")
    if stated is None:
        return None
    if not isinstance(stated, dict):
        raise field.wrong("calibration", "zero_counts and counts_per_N, or polynomial,")
    calibration = calibration_of(stated)
    if calibration is None:
        raise field.wrong(
            "calibration",
            "numbers zero_counts and counts_per_N (not 0), or a polynomial with a slope,",
        )
    return calibration


def calibration_of(stated: Mapping[str, Any]) -> Calibration | None:
    """A calibration as headers and notes state it, or None where it is none."""
    coefficients = _coefficients(stated)
    if coefficients is None:
        return None
    name, date = stated.get("name"), stated.get("date")
    return Calibration(
        coefficients,
        name=name if isinstance(name, str) else "",
        date=date if isinstance(date, str) else None,
    )


def _coefficients(stated: Mapping[str, Any]) -> tuple[float, ...] | None:
    polynomial = stated.get("polynomial")
    if polynomial is not None:
        if not isinstance(polynomial, list) or not all(map(is_number, polynomial)):
            return None
        return tuple(map(float, polynomial)) if any(polynomial[1:]) else None
    zero, slope = stated.get("zero_counts"), stated.get("counts_per_N")
    if (
        zero is None
        or slope is None
        or not is_number(zero)
        or not is_number(slope)
        or not slope
    ):
        return None
    return (-zero / slope, 1.0 / slope)


def _pattern(field: _Fields) -> str | None:
    """The plain dialect's expression, or None where the wire is the pinned one."""
    dialect = field.maybe_text("dialect")
    if dialect is None:
        return None
    if dialect.strip().lower() != "plain":
        raise field.wrong("dialect", "'plain', or nothing for the pinned wire,")
    return field.text("pattern")


def is_number(found: object) -> bool:
    """Whether `found` is a finite number (JSON's true and false are not numbers)."""
    return (
        isinstance(found, int | float) and not isinstance(found, bool) and math.isfinite(found)
    )


def parse_time(text: str) -> datetime | None:
    """Read an ISO 8601 time with a date; without an offset it is UTC. None: it is not one.

    >>> parse_time("2026-03-02T10:00:00.25+01:00").isoformat()
    '2026-03-02T09:00:00.250000+00:00'
    >>> parse_time("2026-03-02")
    """
    if "T" not in text.upper():
        return None
    try:
        time = datetime.fromisoformat(text.strip())
        return (time if time.tzinfo else time.replace(tzinfo=UTC)).astimezone(UTC)
    except (ValueError, OverflowError):
        return None
