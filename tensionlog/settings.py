"""The set-up of a bench: written once, read by every command, kept in one file.

The file is TOML, `bench.toml` in the platform's own folder for configuration (or in the
folder that TENSIONLOG_CONFIG names). This module turns its text into a record and back;
it opens nothing itself.

    version = 1
    bench = "north"
    port = "/dev/ttyACM0"
    tensioner = "lockout"
    tail_m = 0.35
    rate_hz = 80.0
    adc_bits = 24

    [calibration]
    zero_counts = 84211
    counts_per_N = 9120.0

    [check]
    reference = "masses"
    masses_kg = [5, 10, 20]
    mass_class = "M2"
    latitude_deg = 59.9
    height_m = 20
    rated_N = 500
"""

import json
import math
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, Final

from tensionlog.errors import SettingsError
from tensionlog.units import N_PER_UNIT

VERSION: Final = 1
FILE_NAME: Final = "bench.toml"
FOLDER_VARIABLE: Final = "TENSIONLOG_CONFIG"

TABLES: Final = ("calibration", "check", "hold_limits", "notify")
"""What stands in tables of its own, below the single values."""

_HEADER_KEYS: Final = ("tensioner", "tail_m", "rate_hz", "adc_bits")
_HOLD_LIMITS: Final = (
    "watch_mm", "service_mm", "slip_n", "creep_watch_n_per_s", "creep_service_n_per_s",
)  # fmt: skip
_CALIBRATION: Final = ("zero_counts", "counts_per_N", "polynomial", "name", "date")


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchSettings:
    """What a bench is and where its things lie.

    Attributes:
        bench: Its name; with the start time it tells recordings apart.
        port: What to open, or None where nobody said.
        baud: Bits per second.
        device: Id of the device that belongs to this bench, or None: any that answers.
        tensioner: `lockout`, `constant-pull`, `drop-weight`, or None.
        tail_m: Length of string from frame to gripper, or None.
        rate_hz: Nominal sample rate, or None.
        adc_bits: Width of the converter, or None.
        calibration: As a recording's header carries it, or None.
        pattern: Regular expression of another sketch's plain lines, or None.
        plain_unit: Unit of those lines' values, or None.
        unit: Unit that people order and read in.
        operator: Who usually strings here, or None.
        workshop: Its name, as it stands on slips, or None.
        restring_days: Days until the next restring as the workshop advises, or None.
        recordings: Folder of the recordings, or None for the platform's own.
        database: The database, or None for the platform's own.
        check: How the bench is checked, as `tensionlog.check.setup` reads it, or None.
        hold_limits: What the bench expects of its clamps where that is not the usual,
            by the names of `tensionlog.clamps.hold_result.HoldLimits`; or None.
        notify: `urls` of whom to tell of a new alert, or None.
    """

    bench: str = "bench"
    port: str | None = None
    baud: int = 115_200
    device: str | None = None
    tensioner: str | None = None
    tail_m: float | None = None
    rate_hz: float | None = None
    adc_bits: int | None = None
    calibration: Mapping[str, Any] | None = None
    pattern: str | None = None
    plain_unit: str | None = None
    unit: str = "lbf"
    operator: str | None = None
    workshop: str | None = None
    restring_days: int | None = None
    recordings: str | None = None
    database: str | None = None
    check: Mapping[str, Any] | None = None
    hold_limits: Mapping[str, float] | None = None
    notify: Mapping[str, Any] | None = None

    def __post_init__(self) -> None:
        for field in fields(self):
            self._check(field.name, getattr(self, field.name))

    @property
    def recordings_folder(self) -> Path:
        """Where recordings go."""
        return Path(self.recordings) if self.recordings else _data_folder() / "recordings"

    @property
    def database_path(self) -> Path:
        """Where the database lies."""
        return Path(self.database) if self.database else _data_folder() / "tensionlog.db"

    def header(self, *, purpose: str) -> dict[str, Any]:
        """The header of a recording made on this bench, without its start time."""
        stated = {key: getattr(self, key) for key in _HEADER_KEYS}
        if self.calibration is not None and self.pattern is None:
            stated["calibration"] = dict(self.calibration)
        if self.pattern is not None:
            stated |= {"dialect": "plain", "pattern": self.pattern, "unit": self.plain_unit}
        if self.hold_limits:
            stated["hold_limits"] = dict(self.hold_limits)
        if self.check is not None and "clamps" in self.check:
            stated["clamps"] = list(self.check["clamps"])
        known = {key: value for key, value in stated.items() if value is not None}
        return {"bench": self.bench, "purpose": purpose, **known}

    def with_changes(self, changes: Mapping[str, Any]) -> "BenchSettings":
        """The set-up with some values changed; None leaves one as it is.

        Raises:
            SettingsError: A value is none that is allowed.
        """
        return replace(self, **{k: v for k, v in changes.items() if v is not None})

    def _check(self, key: str, value: object) -> None:
        allows, allowed = _RULES.get(key, (_is_text, "a text"))
        if allows(value) or (value is None and key not in _NEEDED):
            return
        raise SettingsError(
            f"the bench's set-up says {key} = {value!r}. Give {allowed}: "
            "'tensionlog bench set --help' names the options."
        )


def settings_path() -> Path:
    """Where the set-up is kept, whether it is there or not."""
    from platformdirs import user_config_path

    named = os.environ.get(FOLDER_VARIABLE)
    folder = Path(named) if named else user_config_path("tensionlog", appauthor=False)
    return folder / FILE_NAME


def parse_settings(text: str, *, label: str) -> BenchSettings:
    """Read the text of a set-up file.

    Args:
        text: TOML.
        label: Name of the file, for the errors.

    Raises:
        SettingsError: It is not TOML, of a later version, or holds a wrong value.
    """
    import tomllib  # `--help` has no need of it

    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{label} is not TOML: {error}. Correct it by hand.") from error
    version = raw.pop("version", None)
    if version != VERSION:
        raise SettingsError(
            f"{label} says version = {version!r}, this tensionlog reads {VERSION}. "
            "Upgrade tensionlog, or write the set-up anew with 'tensionlog bench set'."
        )
    known = {field.name for field in fields(BenchSettings)}
    unknown = sorted(set(raw) - known)
    if unknown:
        raise SettingsError(
            f"{label} has a key {unknown[0]!r} that nobody knows. "
            f"Known are {', '.join(sorted(known))}."
        )
    try:
        return BenchSettings(**raw)
    except SettingsError as error:
        raise SettingsError(f"{label}: {error}") from error


def settings_text(settings: BenchSettings) -> str:
    """Write a set-up as TOML; `parse_settings` gives it back."""
    lines = [f"version = {VERSION}"]
    for field in fields(settings):
        value = getattr(settings, field.name)
        if value is not None and field.name not in TABLES:
            lines.append(f"{field.name} = {_toml(value)}")
    for name in TABLES:
        table = getattr(settings, name)
        if table is not None:
            lines += ["", f"[{name}]", *(f"{key} = {_toml(v)}" for key, v in table.items())]
    return "\n".join(lines) + "\n"


def _data_folder() -> Path:
    from platformdirs import user_data_path

    return user_data_path("tensionlog", appauthor=False)


def _toml(value: object) -> str:
    # JSON's texts, numbers and lists are TOML's as well, but for DEL, which TOML escapes.
    return json.dumps(value, ensure_ascii=False, allow_nan=False).replace("\x7f", "\\u007f")


def _between(low: float, high: float) -> Callable[[object], bool]:
    return lambda value: _is_finite(value) and low <= value <= high  # type: ignore[operator]


def _whole(low: int, high: int) -> Callable[[object], bool]:
    return lambda value: type(value) is int and low <= value <= high


def _is_text(value: object) -> bool:
    return isinstance(value, str) and bool(value.strip())


def _is_head(value: object) -> bool:
    from tensionlog.model.recording import HEADS  # brings numpy, which `--help` must not

    return value in HEADS


def _is_calibration(value: object) -> bool:
    if not isinstance(value, Mapping) or not set(value) <= set(_CALIBRATION):
        return False
    numbers = value.get("polynomial")
    if numbers is None:
        numbers = [value.get("zero_counts"), value.get("counts_per_N")]
    is_list = isinstance(numbers, list) and len(numbers) > 1
    return is_list and all(map(_is_finite, numbers)) and any(numbers[1:])


def _are_limits(value: object) -> bool:
    return isinstance(value, Mapping) and all(
        key in _HOLD_LIMITS and _is_finite(limit) and limit > 0 for key, limit in value.items()
    )


def _are_urls(value: object) -> bool:
    urls = value.get("urls") if isinstance(value, Mapping) else None
    return isinstance(urls, list) and all(_is_text(url) and ":" in url for url in urls)


def _is_finite(value: object) -> bool:
    return type(value) in (int, float) and math.isfinite(value)  # type: ignore[arg-type]


_RULES: Final[dict[str, tuple[Callable[[object], bool], str]]] = {
    "baud": (_whole(50, 50_000_000), "bits per second, such as 115200"),
    "tensioner": (_is_head, "lockout, constant-pull or drop-weight"),
    "tail_m": (_between(0.0, 5.0), "metres from 0 to 5"),
    "rate_hz": (_between(0.1, 1e5), "samples per second"),
    "adc_bits": (_whole(2, 32), "a whole number from 2 to 32"),
    "calibration": (
        _is_calibration,
        "zero_counts and counts_per_N (not 0), or a polynomial with a slope",
    ),
    "hold_limits": (_are_limits, "numbers above 0 for some of watch_mm, service_mm, …"),
    "notify": (_are_urls, "urls, a list such as ['mailto://…']"),
    "check": (
        lambda value: isinstance(value, Mapping),
        "a table: 'tensionlog bench check' writes it",
    ),
    "restring_days": (_whole(1, 3650), "a whole number of days"),
    "unit": (lambda value: value in N_PER_UNIT, "lbf, kgf or N"),
}
"""What each key allows, as a test and in words; the others take a text."""

_NEEDED: Final = ("bench", "baud", "unit")
