"""The database derived from recordings: nouns in, nouns or a table out.

`Store` brings sqlite-utils and with it pandas, so what stands here is imported when it is
first asked for: `store.glance` answers `status` without any of it.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tensionlog.store.rows import (
        StoredAnswer,
        StoredEvidence,
        StoredJob,
        StoredNote,
        StoredPull,
        StoredRecording,
    )
    from tensionlog.store.safety import set_aside
    from tensionlog.store.store import Store

__all__ = [
    "Store",
    "StoredAnswer",
    "StoredEvidence",
    "StoredJob",
    "StoredNote",
    "StoredPull",
    "StoredRecording",
    "set_aside",
]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module = {"Store": "store", "set_aside": "safety"}.get(name, "rows")
    return getattr(import_module(f"{__name__}.{module}"), name)
