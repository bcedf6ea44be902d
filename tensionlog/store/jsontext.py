"""JSON as the store keeps it: keys in the order they came, and nothing SQLite rejects."""

import json
from typing import Any


def json_text(value: object) -> str:
    """Write `value` as JSON text that every SQLite reads.

    Half a surrogate pair becomes `?`. Python reads `NaN` and `Infinity` in a hand-made
    line, JSON knows neither: they become null here, and stand in the recording.
    """
    try:
        text = json.dumps(value, ensure_ascii=False, allow_nan=False)
    except ValueError:
        text = json.dumps(_without_nan(value), ensure_ascii=False, allow_nan=False)
    return storable_text(text)


def exact_json_text(value: object) -> str:
    """Write an answer of our own as JSON text.

    Raises:
        ValueError: It holds NaN or an infinity; what is not known is None.
    """
    return storable_text(json.dumps(value, ensure_ascii=False, allow_nan=False))


def storable_text(text: str) -> str:
    """Give `text` with `?` for what text in a database cannot be.

    That is half of a surrogate pair, which UTF-8 has no place for, and NUL, at which
    SQLite's own functions stop reading.
    """
    whole = text if text.isascii() else text.encode("utf-8", "replace").decode("utf-8")
    return whole.replace("\0", "?")


def _without_nan(value: Any) -> Any:
    if isinstance(value, float):
        return value if abs(value) < float("inf") else None
    if isinstance(value, dict):
        return {key: _without_nan(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_without_nan(each) for each in value]
    return value
