"""The database derived from recordings: nouns in, nouns or a table out.

Importing this room imports sqlite-utils, which imports pandas: import it where it is
used, never at the top of a module that a mere `--help` needs.
"""

from tensionlog.store.rows import (
    StoredAnswer,
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
    "StoredJob",
    "StoredNote",
    "StoredPull",
    "StoredRecording",
    "set_aside",
]
