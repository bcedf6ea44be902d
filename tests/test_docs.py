"""The documents say what is there: commands, files, names, links; not where they were made."""

import ast
import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from tensionlog.cli import main

ROOT = Path(__file__).parents[1]
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml",
    "tensionlog", "firmware_notes", "tests", "recordings", "shared",
}  # fmt: skip
MADE_LOCALLY = {"build", "dist", "tensionlog-demo", "uv.lock", "pylock.toml"}
DOCUMENTS = sorted(
    [
        *ROOT.glob("*.md"),
        *(p for d in TOP_LEVEL if (ROOT / d).is_dir() for p in (ROOT / d).rglob("*.md")),
    ]
)
MOST_LINES = {"README.md": 120, "DEVELOPERS.md": 200}
ELSEWHERE = re.compile(
    r"/(?:work|tmp|home|root|opt)/|\b(?:localhost|127\.0\.0\.1|pypi[\w.-]*\.\w+)\b"
    r"|--index-url|--extra-index|\b(?:TODO|FIXME|XXX|TBD|lorem)\b|\bFIGURES\b",
)


def text(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def indented(name: str) -> list[str]:
    """The lines of code blocks."""
    return [line.strip() for line in text(name).splitlines() if line.startswith("    ")]


def commands(
    group: click.Command = main, said: str = "tensionlog"
) -> Iterator[tuple[str, click.Command]]:
    for name, command in getattr(group, "commands", {}).items():
        yield f"{said} {name}", command
        yield from commands(command, f"{said} {name}")


@pytest.mark.parametrize(
    ("said", "command"), list(commands()), ids=lambda x: x if isinstance(x, str) else ""
)
def test_every_command_is_in_the_readme_and_has_help(said: str, command: click.Command):
    assert said.removeprefix("tensionlog ") in text("README.md")
    assert command.help
    for option in command.params:
        assert isinstance(option, click.Argument) or option.help, f"{said} {option.name}"


def test_every_command_and_option_that_a_document_writes_exists():
    known = dict(commands())
    for document in DOCUMENTS:
        for line in re.findall(r"`(tensionlog [^`]+)`", document.read_text(encoding="utf-8")):
            words = line.split()
            if words[1].startswith("--"):
                continue  # `tensionlog --help` names no command
            name = next(n for n in (3, 2) if " ".join(words[:n]) in known or n == 2)
            command = known[" ".join(words[:name])]
            options = {o for p in command.params for o in p.opts} | {"--help"}
            assert {w for w in words if w.startswith("--")} <= options, line


def test_the_two_commands_of_the_readme_come_first_and_are_whole():
    first, second = (
        line for line in indented("README.md") if line.startswith("python3 -m venv")
    )

    assert first == (
        "python3 -m venv .venv && .venv/bin/pip install -q -e . && .venv/bin/tensionlog demo"
    )
    assert second == (
        "python3 -m venv .venv && .venv/bin/pip install -q -e '.[dev]' "
        "&& .venv/bin/python -m pytest"
    )
    assert text("README.md").index("](recordings/picture.svg)") < text("README.md").index(first)


def test_ci_runs_the_test_command_of_the_readme():
    """Each part of the README's line is a line of `.ci/run`, its long options made short."""
    (said,) = (line for line in indented("README.md") if line.endswith("pytest"))
    run = text(".ci/run").replace("--quiet", "-q").replace("--editable", "-e")
    run = run.replace("${PYTHON:-python3}", "python3").replace(
        ".venv/bin/python -m pip", ".venv/bin/pip"
    )
    places = [_place_of(part, run) for part in said.split(" && ")]

    assert places == sorted(places)


def _place_of(command: str, script: str) -> int:
    wanted = " ".join(shlex.split(command))
    return script.replace('"', "").replace("'", "").index(wanted)


def test_every_part_of_ci_is_in_the_developers_guide():
    for line in re.findall(r"^check \w+ (\.venv/bin/.+)$", text(".ci/run"), flags=re.M):
        assert line.replace(" --quiet", "") in indented("DEVELOPERS.md")


def test_every_file_that_the_developers_guide_names_exists():
    named = re.findall(
        r"`((?:tensionlog|tests|shared|recordings|firmware_notes)/[^`\s]*)`",
        text("DEVELOPERS.md"),
    )

    assert len(named) > 40
    assert [name for name in named if not (ROOT / name).exists()] == []


def test_every_name_beside_a_file_is_defined_in_it():
    pairs = re.findall(r"`(tensionlog/[\w/]+\.py)` `([\w.]+)`", text("DEVELOPERS.md"))

    assert len(pairs) >= 10
    assert [pair for pair in pairs if not _defines(ROOT / pair[0], pair[1])] == []


def _defines(path: Path, dotted: str) -> bool:
    body: list[ast.stmt] = ast.parse(path.read_text(encoding="utf-8")).body
    for name in dotted.split("."):
        found = next((s for s in body if name in _names(s)), None)
        if found is None:
            return False
        body = getattr(found, "body", [])
    return True


def _names(statement: ast.stmt) -> list[str]:
    if isinstance(statement, ast.FunctionDef | ast.ClassDef):
        return [statement.name]
    targets = getattr(statement, "targets", [getattr(statement, "target", None)])
    return [target.id for target in targets if isinstance(target, ast.Name)]


def test_every_room_is_on_the_map_and_has_a_place_in_the_contract():
    package = ROOT / "tensionlog"
    rooms = {p.name for p in package.iterdir() if (p / "__init__.py").exists()}
    rooms |= {p.name for p in package.glob("[a-z]*.py")}
    on_map = re.findall(r"^\| `tensionlog/([\w.]+)/?` \|", text("DEVELOPERS.md"), flags=re.M)

    assert set(on_map) == rooms
    assert len(on_map) == len(rooms)


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda p: str(p.relative_to(ROOT)))
def test_every_link_leads_somewhere(document: Path):
    for target in re.findall(r"\]\(([^)#\s]+)[^)]*\)", document.read_text(encoding="utf-8")):
        if not target.startswith("https://"):
            assert (document.parent / target).exists(), target


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda p: str(p.relative_to(ROOT)))
def test_nothing_tells_where_it_was_made_or_was_left_unfinished(document: Path):
    assert ELSEWHERE.findall(document.read_text(encoding="utf-8")) == []


def test_the_documents_are_short_enough_to_be_read():
    lines = {name: len(text(name).splitlines()) for name in MOST_LINES}

    assert {name: n for name, n in lines.items() if n > MOST_LINES[name]} == {}


def test_the_top_level_holds_what_was_agreed_and_nothing_else():
    there = {p.name for p in ROOT.iterdir() if not p.name.startswith((".", "__pycache__"))}

    assert {
        name for name in there - MADE_LOCALLY if not name.endswith(".egg-info")
    } == TOP_LEVEL


def test_the_reader_is_told_that_the_demo_is_invented_and_what_it_is_not():
    readme = " ".join(text("README.md").split())

    assert "every reading are invented" in readme
    assert "not a safety device" in readme
    assert "never drives the tensioner" in readme
