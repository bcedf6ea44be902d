"""Files from elsewhere are data, never code; see `tests/lost/threats.md`."""

import ast
import gzip
import re
import resource
import sqlite3
from functools import cache
from pathlib import Path

import pytest

import tensionlog
from tensionlog.sources import blocks
from tensionlog.sources.recording import open_recording

SOURCES = sorted(Path(tensionlog.__file__).parent.rglob("*.py"))
CODE_FROM_DATA = {"pickle", "marshal", "shelve", "dill", "joblib", "yaml", "ctypes", "runpy"}
HEAD = b'# tensionlog-recording 1\n# {"bench": "b", "started": "2026-03-02T09:00:00Z"}\n'


@cache
def texts() -> list[tuple[str, str]]:
    """Every module of the package, read once."""
    return [(path.name, path.read_text(encoding="utf-8")) for path in SOURCES]


def found(pattern: str) -> list[tuple[str, str]]:
    expression = re.compile(pattern, re.MULTILINE)
    return [(name, hit[0]) for name, text in texts() for hit in expression.finditer(text)]


def test_nothing_is_imported_that_makes_code_of_data():
    names = "|".join(sorted(CODE_FROM_DATA))

    assert found(rf"^\s*(?:import|from) (?:{names})\b") == []
    assert len(found(r"^from tensionlog")) > 100  # it does see imports


def test_nothing_is_evaluated_and_no_shell_is_asked():
    assert found(r"(?<![\w.])(?:eval|exec|compile|__import__)\(") == []
    assert found(r"shell=True|os\.system|os\.popen") == []


WOVEN = {
    "', '.join(names)", "table", "key", "_JOURNAL_LIMIT_BYTES", "APPLICATION_ID",
    "answer_table_of(kind)", "_IN_TIME", "sql", "_JOBS", "tail", "selected", "anew",
    "', '.join(_EVIDENCE)", "', '.join(('e.' + k for k in _EVIDENCE))",
}  # fmt: skip
"""What stands inside SQL by an f-string: names of tables and columns from fixed lists, read
one by one. Whoever adds one reads it and writes it here."""


def test_values_reach_sql_as_parameters_only():
    calls = ("execute", "executemany", "executescript", "query")
    woven = set()
    store = [path for path in SOURCES if path.parent.name == "store"]
    trees = (ast.parse(path.read_text(encoding="utf-8")) for path in store)
    for node in (n for tree in trees for n in ast.walk(tree) if isinstance(n, ast.Call)):
        is_sql = isinstance(node.func, ast.Attribute) and node.func.attr in calls
        if is_sql and node.args and isinstance(node.args[0], ast.JoinedStr):
            values = [v for v in node.args[0].values if isinstance(v, ast.FormattedValue)]
            woven |= {ast.unparse(value.value) for value in values}

    assert woven <= WOVEN


def test_a_gzip_bomb_is_cut_where_no_recording_would_be(tmp_path, monkeypatch):
    monkeypatch.setattr(blocks, "SMALL_BYTES", 1 << 20)
    path = tmp_path / "bomb.rec.gz"
    with gzip.open(path, "wb", compresslevel=9) as packed:
        packed.write(HEAD)
        for _ in range(40):
            packed.write(b"S,0,0,1*0000\n" * 80_000)
    reader = open_recording(path)
    read = sum(len(item) for item in reader if isinstance(item, bytes))

    assert read < 14_000_000  # of forty-two
    assert any("times its size" in warning for warning in reader.warnings)


def test_a_flood_of_one_line_without_end_is_read_in_bounded_memory(tmp_path):
    path = tmp_path / "flood.rec"
    path.write_bytes(HEAD + b"x" * 30_000_000)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    read = sum(len(item) for item in open_recording(path) if isinstance(item, bytes))
    grew_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before

    assert read == 30_000_000
    assert grew_kb < 20_000


@pytest.mark.parametrize("name", ["' OR 1=1 --", "a'; DROP TABLE jobs; --", "%", "\x00", "‮"])
def test_a_name_that_would_be_sql_is_a_name(tmp_path, name):
    from tensionlog.store import Store

    with Store(tmp_path / "a.db") as store:
        assert store.jobs(ref=name, owner=name, bench=name) == []
        assert store.quick_check() == []


def test_a_database_with_a_trigger_of_somebody_elses_is_told_or_does_nothing(tmp_path):
    """Opening a foreign database runs none of its code: views and triggers lie unread."""
    from tensionlog.store import Store

    with Store(tmp_path / "a.db"):
        pass
    with sqlite3.connect(tmp_path / "a.db") as raw:
        raw.execute("CREATE VIEW evil AS SELECT load_extension('evil.so')")
    raw.close()
    with Store(tmp_path / "a.db", must_exist=True) as store:
        assert store.recordings() == []
        assert store.quick_check() == []
