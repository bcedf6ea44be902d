"""The table of faults names tests that exist."""

import ast
import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
ROWS = re.findall(
    r"^\| ([SADC\d, –]+) \|.*\| `(tests/[\w/]+\.py)` `(test_\w+)` \|$",
    (ROOT / "tests/lost/faults.md").read_text(encoding="utf-8"),
    flags=re.MULTILINE,
)


def test_every_row_names_a_test_that_is_there():
    defined: dict[str, set[str]] = {}
    for _, path, _ in ROWS:
        if path not in defined:
            tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
            functions = (n.name for n in ast.walk(tree) if isinstance(n, ast.FunctionDef))
            defined[path] = set(functions)

    assert [row for row in ROWS if row[2] not in defined[row[1]]] == []


def test_every_row_of_line_converter_disk_and_clock_is_answered_for():
    text = (ROOT / "tests/lost/faults.md").read_text(encoding="utf-8")
    named = set(re.findall(r"\b[SADC]\d+\b", text))
    wanted = {
        *(f"S{n}" for n in range(1, 27)),
        *(f"A{n}" for n in range(1, 20)),
        *(f"D{n}" for n in range(1, 21)),
        *(f"C{n}" for n in range(1, 7)),
    }

    assert wanted - named == set()
    assert len(ROWS) > 50
