"""What a bench checks itself with, and what is done on an ordinary and on a weekly morning.

The set-up is a table `[check]` of the bench's file; its keys are those of the `check-start`
note, with what the morning consists of beside them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from math import isfinite
from typing import Any, Final

from tensionlog.check.problems import refuse_overload
from tensionlog.check.reference import ReferenceSettings, settings_from_note
from tensionlog.check.result import Load
from tensionlog.check.verdict import Tolerance
from tensionlog.errors import CalibrationError, SettingsError
from tensionlog.units import N_PER_LBF, N_PER_UNIT

REFERENCE_KEYS: Final = (
    "reference", "masses_kg", "mass_class", "u_mass_pct", "u_scale_pct", "u_scale_N",
    "gravity", "u_gravity", "latitude_deg", "height_m", "mass_kg_m3", "pulley_factor",
    "u_pulley_pct", "tilt_deg", "u_tilt_deg", "rated_N", "tolerance_pct",
    "tolerance_floor_N",
)  # fmt: skip
"""Keys that go into the `check-start` note as they are: a replay needs them all."""

OWN_KEYS: Final = (
    "daily_kg", "weekly_kg", "daily_N", "weekly_N", "daily_dials_N", "weekly_dials_N",
    "full_every_days", "in_place", "scale_unit", "clamps", "hold_target_N", "hold_span_m",
    "hold_EA_N", "hold_u_EA_pct",
)  # fmt: skip

CALIBRATION_LOADS: Final = 6
"""Loads of a full calibration where the set gives as many; five are the least."""

_USUAL_DIALS_N: Final = tuple(round(lbf * N_PER_LBF, 3) for lbf in (20, 27, 50))
"""Badminton, squash, tennis; a bench that dials in kilograms sets its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckSetup:
    """How this bench is checked.

    Attributes:
        note: Body of the `check-start` note but for its name.
        reference: The same, read.
        tolerance: How far a reading may be off.
        rated_n: Greatest force the cell may carry, or None where nobody said.
        daily: Loads of an ordinary morning, kilograms, or newtons on a scale.
        weekly: Loads of a weekly one, in the order in which they are hung.
        daily_dials_n: Dial settings of an ordinary morning, newtons.
        weekly_dials_n: The same of a weekly one.
        full_every_days: When the weekly part is due again.
        in_place: Whether the cell is checked where it works, so that nothing is moved.
        scale_unit: Unit that the reference scale shows.
        clamps: Names of the clamps, in the order in which they take turns.
        hold_target_n: Force of the hold test, newtons; None: no hold test is made.
        hold_span_m: From the anchor to the clamp.
        hold_ea_n: Stiffness of the control reel, newtons per unit strain, or None.
        hold_u_ea_pct: Its standard uncertainty, per cent, or None.
    """

    note: Mapping[str, Any] = field(default_factory=dict)
    reference: ReferenceSettings = field(default_factory=ReferenceSettings)
    tolerance: Tolerance = field(default_factory=Tolerance)
    rated_n: float | None = None
    daily: tuple[float, ...] = ()
    weekly: tuple[float, ...] = ()
    daily_dials_n: tuple[float, ...] = _USUAL_DIALS_N[:1]
    weekly_dials_n: tuple[float, ...] = _USUAL_DIALS_N
    full_every_days: int = 7
    in_place: bool = False
    scale_unit: str = "kgf"
    clamps: tuple[str, ...] = ("A", "B")
    hold_target_n: float | None = None
    hold_span_m: float = 0.6
    hold_ea_n: float | None = None
    hold_u_ea_pct: float | None = None

    @property
    def is_scale(self) -> bool:
        """Whether a reference scale stands in for masses."""
        return self.reference.kind == "scale"

    def load(self, amount: float) -> Load:
        """One load of the plan: kilograms, or newtons on a scale."""
        return Load(0.0, force_n=amount) if self.is_scale else Load(0.0, mass_kg=amount)

    def force_n(self, amount: float) -> float:
        """Force of one load of the plan, newtons."""
        return amount if self.is_scale else self.reference.force_n(amount)

    def calibration_loads(self) -> tuple[float, ...]:
        """Loads of a full calibration, from light to heavy, spread over what the set gives.

        Raises:
            CalibrationError: The set gives fewer than five loads that the cell may carry.
        """
        some = self.daily + self.weekly if self.is_scale else _sums(self.reference.masses_kg)
        light = sorted({x for x in some if self._is_allowed(x)})
        if len(light) < 5:
            raise CalibrationError(
                f"a full calibration needs 5 different loads, and the set gives {len(light)} "
                "within the cell's rated load. Add masses with 'tensionlog bench check'."
            )
        wanted = min(CALIBRATION_LOADS, len(light))
        return tuple(light[round(i * (len(light) - 1) / (wanted - 1))] for i in range(wanted))

    def refuse_overload(self, amounts: Sequence[float]) -> None:
        """Refuse a load that the cell may not carry, before anybody hangs it.

        Raises:
            CalibrationError: One is above the rated load.
        """
        refuse_overload([self.load(x) for x in amounts], self.reference, self.rated_n)

    def _is_allowed(self, amount: float) -> bool:
        return self.rated_n is None or self.force_n(amount) <= self.rated_n


def _sums(pieces: Sequence[float]) -> set[float]:
    """What can be hung with a set: every sum of its pieces."""
    some = pieces[:10]
    return {
        round(sum(part), 6) for n in range(1, len(some) + 1) for part in combinations(some, n)
    }


def setup_from_table(table: Mapping[str, Any]) -> CheckSetup:
    """Read the `[check]` table of a bench's set-up.

    Raises:
        SettingsError: A key nobody knows, or a value that cannot be.
        CalibrationError: A load above the cell's rated load.
    """
    unknown = sorted(set(table) - {*REFERENCE_KEYS, *OWN_KEYS})
    if unknown:
        raise SettingsError(
            f"the set-up of the check has a key {unknown[0]!r} that nobody knows. "
            f"Known are {', '.join((*REFERENCE_KEYS, *OWN_KEYS))}."
        )
    note = {key: table[key] for key in REFERENCE_KEYS if table.get(key) is not None}
    try:
        reference = settings_from_note(note)
        tolerance, rated_n = tolerance_of(note), rated_of(note)
    except CalibrationError as error:
        raise SettingsError(f"the set-up of the check: {error}") from error
    daily, weekly = _loads(table, reference)
    setup = CheckSetup(
        note=note,
        reference=reference,
        tolerance=tolerance,
        rated_n=rated_n,
        daily=daily,
        weekly=weekly,
        daily_dials_n=_numbers(table, "daily_dials_N", _USUAL_DIALS_N[:1]),
        weekly_dials_n=_numbers(table, "weekly_dials_N", _USUAL_DIALS_N),
        full_every_days=int(_numbers(table, "full_every_days", (7.0,))[0]),
        in_place=bool(table.get("in_place", reference.kind == "scale")),
        scale_unit=_unit(table.get("scale_unit", "kgf")),
        clamps=_names(table.get("clamps", ["A", "B"])),
        hold_target_n=_number(table, "hold_target_N"),
        hold_span_m=_number(table, "hold_span_m") or 0.6,
        hold_ea_n=_number(table, "hold_EA_N"),
        hold_u_ea_pct=_number(table, "hold_u_EA_pct"),
    )
    setup.refuse_overload((*setup.daily, *setup.weekly))
    return setup


def tolerance_of(note: Mapping[str, Any]) -> Tolerance:
    """The bench's tolerance as a `check-start` note carries it; else the usual one.

    Raises:
        CalibrationError: It is no number, or negative.
    """
    usual = Tolerance()
    try:
        return Tolerance(
            pct_of_load=float(note.get("tolerance_pct", usual.pct_of_load)),
            floor_n=float(note.get("tolerance_floor_N", usual.floor_n)),
        )
    except (TypeError, ValueError) as error:
        said = [note.get(k) for k in ("tolerance_pct", "tolerance_floor_N")]
        raise CalibrationError(
            f"the tolerance {said} is no per cent and newtons of 0 or more. Correct it with "
            "'tensionlog bench check'."
        ) from error


def rated_of(note: Mapping[str, Any]) -> float | None:
    """The cell's rated load as a `check-start` note carries it, newtons, or None.

    Raises:
        CalibrationError: It is no force.
    """
    given = note.get("rated_N")
    if given is None:
        return None
    is_number = isinstance(given, int | float) and not isinstance(given, bool)
    if not is_number or not (isfinite(given) and given > 0):
        raise CalibrationError(
            f"a rated load of {given!r} cannot be. Give newtons: 'tensionlog bench check'."
        )
    return float(given)


def _loads(
    table: Mapping[str, Any], reference: ReferenceSettings
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    if reference.kind == "scale":
        daily = _numbers(table, "daily_N", (110.0,))
        return daily, _numbers(table, "weekly_N", (60.0, 110.0, 200.0))
    pieces = tuple(sorted(reference.masses_kg))
    up_and_down = (*pieces, *pieces[-2::-1])
    return (
        _numbers(table, "daily_kg", pieces[-1:]),
        _numbers(table, "weekly_kg", up_and_down),
    )


def _numbers(table: Mapping[str, Any], key: str, usual: tuple[float, ...]) -> tuple[float, ...]:
    given = table.get(key)
    if given is None:
        return usual
    some = given if isinstance(given, list | tuple) else [given]
    if not some or not all(_is_amount(x) for x in some):
        raise SettingsError(
            f"the set-up of the check says {key} = {given!r}. Give numbers above 0."
        )
    return tuple(float(x) for x in some)


def _number(table: Mapping[str, Any], key: str) -> float | None:
    return _numbers(table, key, (0.0,))[0] or None


def _names(given: object) -> tuple[str, ...]:
    if not isinstance(given, list | tuple) or not all(isinstance(x, str) for x in given):
        raise SettingsError(
            f"the set-up of the check says clamps = {given!r}. Give names such as ['A', 'B']."
        )
    return tuple(given)


def _is_amount(x: object) -> bool:
    return isinstance(x, int | float) and not isinstance(x, bool) and isfinite(x) and x > 0


def _unit(given: object) -> str:
    if given not in N_PER_UNIT:
        raise SettingsError(
            f"the set-up of the check says scale_unit = {given!r}. Give lbf, kgf or N."
        )
    return str(given)
