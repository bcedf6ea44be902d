"""A table as a file for other programs: CSV (RFC 4180) or Parquet, the same columns.

A cell of text that a spreadsheet would run as a formula (an owner called `=1+1`) gets an
apostrophe in front, and so does one that begins with an apostrophe: `read_csv` takes
exactly one away again, so nothing is lost.
"""

import csv
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Final

from tensionlog.errors import UsageError
from tensionlog.store.safety import write_whole
from tensionlog.store.table import COLUMNS, TEXT, as_table

if TYPE_CHECKING:
    import pandas as pd

# What spreadsheets take for the beginning of a formula; the wide forms too, as they
# stand on some keyboards. (OWASP, "CSV Injection", from memory.)
_GUARDED: Final = ("'", "=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def csv_text(table: "pd.DataFrame") -> str:
    """Write a pulls table as CSV: a head line, CR LF, what is not known is empty."""
    guarded = table.copy()
    for name in _texts(table):
        guarded[name] = guarded[name].map(_guard, na_action="ignore")
    return guarded.to_csv(index=False, lineterminator="\r\n")


def write_csv(table: "pd.DataFrame", path: Path) -> None:
    """Write a pulls table to `path` as CSV in UTF-8.

    Raises:
        UsageError: The file cannot be written.
    """
    _written(path, lambda partial: _put(partial, csv_text(table)))


def write_parquet(table: "pd.DataFrame", path: Path) -> None:
    """Write a pulls table to `path` as Parquet.

    Raises:
        UsageError: The file cannot be written.
    """
    _written(path, lambda partial: table.to_parquet(partial, engine="pyarrow", index=False))


def read_csv(path: Path) -> "pd.DataFrame":
    """Read what `write_csv` wrote, every digit and every text as it was."""
    with path.open(encoding="utf-8", newline="") as file:
        lines = csv.reader(file, strict=True)
        names = next(lines)
        return as_table(
            [_typed(cell, COLUMNS[name]) for name, cell in zip(names, line, strict=True)]
            for line in lines
        )


def _typed(cell: str, kind: str) -> str | float | bool | None:
    if not cell:
        return None
    if kind == TEXT:
        return cell.removeprefix("'")
    # By way of float a number of 53 bits is still exact; ours have no more.
    return cell == "True" if kind == "bool" else float(cell)


def _texts(table: "pd.DataFrame") -> list[str]:
    return [name for name in table.columns if COLUMNS[name] == TEXT]


def _guard(text: str) -> str:
    return f"'{text}" if text.startswith(_GUARDED) else text


def _put(path: Path, text: str) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(text)


def _written(path: Path, write: Callable[[Path], None]) -> None:
    try:
        write_whole(path, write)
    except OSError as error:
        raise UsageError(
            f"cannot write {path}: {error.strerror or error}. Choose another place."
        ) from error
