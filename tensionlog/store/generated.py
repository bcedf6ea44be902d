"""SQL of columns that are generated from a JSON column, guarded by type.

A ticket is typed by hand and may hold anything; what is not of the column's kind is
NULL there and still stands in the JSON. These texts are part of released migration
steps: add functions here, never change one.
"""

from collections.abc import Iterable, Mapping


def text(source: str, *keys: str) -> str:
    """SQL for the first of `keys` in the JSON column `source` that is text or a number."""
    return _first_of(
        f"CASE WHEN json_type({source}, '$.{key}') IN ('text', 'integer', 'real')"
        f" THEN nullif(trim(CAST(json_extract({source}, '$.{key}') AS TEXT)), '') END"
        for key in keys
    )


def real(source: str, *keys: str) -> str:
    """SQL for the first of `keys` in the JSON column `source` that is a number."""
    return _first_of(
        f"CASE WHEN json_type({source}, '$.{key}') IN ('integer', 'real')"
        f" THEN CAST(json_extract({source}, '$.{key}') AS REAL) END"
        for key in keys
    )


def whole(source: str, key: str) -> str:
    """SQL for `key` in the JSON column `source` where it is a whole number of 64 bits."""
    extracted = f"json_extract({source}, '$.{key}')"
    return (
        f"CASE WHEN json_type({source}, '$.{key}') = 'integer'"
        f" AND typeof({extracted}) = 'integer' THEN {extracted} END"
    )


def _first_of(choices: Iterable[str]) -> str:
    listed = list(choices)
    return listed[0] if len(listed) == 1 else f"coalesce({', '.join(listed)})"


def generated(columns: Mapping[str, tuple[str, str]]) -> str:
    """SQL that defines generated `columns`: name to (type, expression)."""
    return ",\n".join(
        f"{name} {kind} GENERATED ALWAYS AS ({sql}) VIRTUAL"
        for name, (kind, sql) in columns.items()
    )
