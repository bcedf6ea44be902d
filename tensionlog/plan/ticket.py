"""The ticket of a job: checked, with the order of its positions and its spans."""

import re
from collections.abc import Mapping
from math import inf
from typing import Any

from tensionlog.errors import PlanError
from tensionlog.model.job import ORDERS, Job

EDGE_SHARE = 0.93
"""The outermost string lies at this share of the half-width; pinned with the format."""

LEAST_CHORD = 0.05
"""Floor under 1 − x², which keeps a chord off the ellipse's tip; pinned with the format."""

TYPED_EA_U_PCT = 30.0
"""Standard uncertainty of a stiffness that somebody typed instead of measuring."""

_POSITION = re.compile(r"(L|R|X)([1-9][0-9]{0,2})")


def read_ticket(body: Mapping[str, Any]) -> Job:
    """Check the ticket of a `job-start` note.

    Args:
        body: The note's `job` object.

    Raises:
        PlanError: Something in it cannot be strung; the text says what.
    """
    mains, crosses = _count(body, "mains"), _count(body, "crosses")
    sequence = _sequence(body, mains, crosses)
    clamps = _object(body, "clamps")
    return Job(
        ref=str(body.get("ref", "")),
        sport=str(body.get("sport", "")),
        mains=mains,
        crosses=crosses,
        target_mains_n=_force(body, "target_mains_N"),
        target_crosses_n=_force(body, "target_crosses_N"),
        targets_n=_targets(body, sequence),
        sequence=sequence,
        clamp_left=_name(clamps.get("left")),
        clamp_right=_name(clamps.get("right")),
        clamp_start=_name(clamps.get("start")),
        clamps_crosses=tuple(str(c) for c in clamps.get("crosses") or ()),
        ea_mains_n=_force(body, "EA_mains_N") or _force(body, "EA_N"),
        ea_crosses_n=_force(body, "EA_crosses_N") or _force(body, "EA_N"),
        u_ea_pct=_share(body, "u_EA_pct", TYPED_EA_U_PCT),
        spans_m=spans_of(body, mains=mains, crosses=crosses),
        raw=dict(body),
    )


def spans_of(body: Mapping[str, Any], *, mains: int, crosses: int) -> dict[str, float]:
    """Length of each string inside the head, in metres, by position.

    From `spans_m` where the ticket gives it, else the chords of an ellipse of the
    head's length and width; empty where neither is known. With an odd number of mains
    the extra one is right. Crosses are counted in the order pulled.
    """
    spans = _object(body, "spans_m")
    given = {p: length for p in spans if (length := _above_zero(spans, p, "length", "m"))}
    long_m = _above_zero(body, "head_long_m", "length", "m")
    wide_m = _above_zero(body, "head_wide_m", "length", "m")
    if long_m is None or wide_m is None:
        return given
    left = mains // 2
    chords = {
        (f"L{left - i}" if i < left else f"R{i - left + 1}"): chord
        for i, chord in enumerate(_chords(mains, long_m))
    }
    across = _chords(crosses, wide_m)
    chords.update({f"X{i + 1}": chord for i, chord in enumerate(across)})
    return chords | given


def _chords(n: int, along_m: float) -> list[float]:
    places = [((i + 0.5) / n * 2.0 - 1.0) * EDGE_SHARE for i in range(n)]
    return [along_m * max(1.0 - x * x, LEAST_CHORD) ** 0.5 for x in places]


def _count(body: Mapping[str, Any], key: str) -> int:
    value = body.get(key, 0)
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 200:
        raise PlanError(
            f"the ticket says {key} = {value!r}. Give a whole number of strings from 0 to 200."
        )
    return value


def _object(body: Mapping[str, Any], key: str) -> dict[str, Any]:
    value = body.get(key)
    if value is None:
        return {}
    if not isinstance(value, Mapping):
        raise PlanError(f"the ticket says {key} = {value!r}. Give names and values, in braces.")
    return {str(name): content for name, content in value.items()}


def _force(body: Mapping[str, Any], key: str) -> float | None:
    return _above_zero(body, key, "force", "newtons")


def _share(body: Mapping[str, Any], key: str, default: float) -> float:
    return 0.0 if body.get(key) == 0 else _above_zero(body, key, "share", "%") or default


def _above_zero(body: Mapping[str, Any], key: str, what: str, unit: str) -> float | None:
    value = body.get(key)
    if value is None:
        return None
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if not is_number or not 0 < value < inf:
        raise PlanError(
            f"the ticket says {key} = {value!r}. Give a {what} above 0 {unit}, or leave it out."
        )
    return float(value)


def _name(value: object) -> str | None:
    return None if value in (None, "") else str(value)


def _targets(body: Mapping[str, Any], sequence: tuple[str, ...]) -> dict[str, float]:
    targets = _object(body, "targets")
    for position in targets:
        if position not in sequence:
            raise PlanError(
                f"the ticket orders {targets[position]!r} N at {position!r}, which is not a "
                f"position of this bed. Correct the position or the number of strings."
            )
    return {p: force for p in targets if (force := _force(targets, p)) is not None}


def _sequence(body: Mapping[str, Any], mains: int, crosses: int) -> tuple[str, ...]:
    order = body.get("order", "alternate")
    listed = order if isinstance(order, list | tuple) else body.get("sequence")
    if isinstance(listed, list | tuple):
        return _explicit([str(p) for p in listed], mains, crosses)
    if order not in ORDERS or order == "sequence":
        raise PlanError(
            f"the ticket says order = {order!r} and lists no `sequence`. Say alternate or "
            f"left-then-right, or list the positions."
        )
    left = [f"L{i + 1}" for i in range(mains // 2)]
    right = [f"R{i + 1}" for i in range(mains - mains // 2)]
    across = tuple(f"X{i + 1}" for i in range(crosses))
    if order == "left-then-right":
        return (*left, *right, *across)
    pairs = [p for i in range(len(right)) for p in (*left[i : i + 1], right[i])]
    return (*pairs, *across)


def _explicit(positions: list[str], mains: int, crosses: int) -> tuple[str, ...]:
    most = {"L": mains // 2, "R": mains - mains // 2, "X": crosses}
    for position in positions:
        match = _POSITION.fullmatch(position)
        if match is None or int(match[2]) > most[match[1]]:
            raise PlanError(
                f"the ticket's order names {position!r}, which a bed of {mains} mains and "
                f"{crosses} crosses does not have. Correct the order or the numbers."
            )
    if len(set(positions)) != len(positions):
        twice = next(p for p in positions if positions.count(p) > 1)
        raise PlanError(f"the ticket's order names {twice!r} twice. Name each string once.")
    return tuple(positions)
