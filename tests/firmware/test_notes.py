"""The notes: every command in them is run, their figures are worked again.

All commands, in their order, on a simulated controller, take half a minute:

    python -m pytest -m slow tests/firmware/test_notes.py
"""

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tensionlog.device.budget import Parts, budget_of
from tensionlog.device.rates import highest_rate_hz

NOTES = Path(__file__).parents[2] / "firmware_notes"
PAGES = [NOTES / name for name in ("README.md", "cell.md", "wiring.md", "converter.md")]
PAGES += [NOTES / "firmware.md", NOTES / "firmware" / "emulator" / "README.md"]
DRAWINGS = sorted((NOTES / "drawings").glob("*.svg"))
PROGRAMS = ("tensionlog", "make", "apt-get", "python", "firmware_notes/")
BOARD = "/dev/ttyACM0"


def commands(page: Path) -> list[str]:
    """The lines of a page's code blocks that are commands."""
    lines = page.read_text("utf-8").splitlines()
    blocks = [line.strip() for line in lines if re.match(r" {4,}\S", line)]
    return [line for line in blocks if line.startswith(PROGRAMS)]


def test_every_page_is_linked_and_every_line_of_code_is_a_command():
    home = PAGES[0].read_text("utf-8")
    assert all(f"]({page.name})" in home for page in PAGES[1:5])
    for page in PAGES:
        for line in page.read_text("utf-8").splitlines():
            assert not re.match(r" {4,}\S", line) or line.strip().startswith(PROGRAMS), line
    assert len([c for page in PAGES for c in commands(page)]) > 20


def test_what_is_to_be_installed_is_what_ci_installs():
    ci = (NOTES.parent / ".ci" / "run").read_text("utf-8")
    for page in PAGES:
        for command in commands(page):
            if command.startswith("apt-get install"):
                packages = set(command.split()[2:]) - {"avrdude"}  # flashing needs a board
                assert packages <= set(re.findall(r"[\w-]+", ci)), command


def test_the_worked_budget_is_what_the_product_works():
    text = (NOTES / "converter.md").read_text("utf-8")
    parts = Parts(
        sensitivity_mv_per_v=2.0, rated_n=500.0, excitation_v=4.3, converter_nv=90.0,
        range_mv=16.8,
    )  # fmt: skip
    budget = budget_of(parts)
    for figure in (
        f"{parts.nv_per_n / 1e3:.1f} µV",
        f"{parts.nv_per_count:.2f} nV",
        f"{parts.counts_per_n:.0f}",
        f"{budget.bridge_n * parts.nv_per_n:.1f} nV | {budget.bridge_n:.4f} N",
        f"90 nV | {budget.converter_n:.4f} N",
        f"{budget.steps_n * parts.nv_per_n:.2f} nV | {budget.steps_n:.5f} N",
        f"{budget.total_n * parts.nv_per_n:.1f} nV | **{budget.total_n:.4f} N**",
        f"carries {int(highest_rate_hz(115_200, adc_bits=24))} readings a second",
    ):
        assert figure in text, figure


def test_the_energies_of_the_cautions_are_worked():
    text = (NOTES / "README.md").read_text("utf-8")
    for force_n, length_m, stiffness_n in ((120.0, 1.2, 1500.0), (270.0, 1.2, 5000.0)):
        assert f"{force_n**2 * length_m / (2 * stiffness_n):.1f} J" in text


@pytest.mark.parametrize("drawing", DRAWINGS, ids=lambda path: path.stem)
def test_a_drawing_is_used_has_a_title_and_fetches_nothing(drawing):
    text = drawing.read_text("utf-8")
    root = ElementTree.fromstring(text)
    assert root.find("{http://www.w3.org/2000/svg}title").text
    assert root.find("{http://www.w3.org/2000/svg}desc").text
    assert not re.search(r"href|url\(|<script|<image", text)
    assert any(f"drawings/{drawing.name}" in page.read_text("utf-8") for page in PAGES)


def test_the_size_of_the_image_is_what_the_notes_say(image):
    sizes = subprocess.run(["avr-size", str(image)], capture_output=True, text=True, check=True)
    text, data, bss = map(int, sizes.stdout.splitlines()[1].split()[:3])
    page = (NOTES / "firmware.md").read_text("utf-8")
    flash_kb, ram = map(int, re.findall(r"(\d+) KB of flash, (\d+) bytes of RAM", page)[0])
    assert (text + data, data + bss) == pytest.approx((1000 * flash_kb, ram), rel=0.1)


@pytest.fixture
def workshop(tmp_path) -> Path:
    """A folder with the notes in it, and the package's command on the path."""
    ignored = shutil.ignore_patterns("build")
    shutil.copytree(NOTES, tmp_path / "firmware_notes", ignore=ignored)
    (tmp_path / "bin").mkdir()
    program = tmp_path / "bin" / "tensionlog"
    program.write_text(f'#!/bin/sh\nexec {shlex.quote(sys.executable)} -m tensionlog "$@"\n')
    program.chmod(0o755)
    return tmp_path


class Newcomer:
    """Somebody who types the notes' commands one after the other.

    There is no board, so its port is the simulated controller's; nobody pulls at that, so
    the check that asks for a pull finds a dead bridge, and must.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._emulator: subprocess.Popen[bytes] | None = None
        self._environment = {
            **os.environ,
            "PATH": f"{folder / 'bin'}{os.pathsep}{os.environ['PATH']}",
            "PYTHONPATH": str(NOTES.parent),
            "TENSIONLOG_CONFIG": str(folder / "config"),
        }

    def types(self, command: str) -> str:
        """Run one command; return what it said."""
        line = command.replace(BOARD, "./port")
        if "flash" in line:
            line = line.replace("make ", "make -n ")
        if line.endswith("&"):
            self._start(shlex.split(line.removesuffix("&")))
            return ""
        if " record " in line:
            line = f"(sleep 3; echo q) | {line}"
        done = subprocess.run(
            ["bash", "-c", line],
            capture_output=True,
            cwd=self._folder,
            env=self._environment,
            timeout=300,
            check=False,
        )
        said = (done.stdout + done.stderr).decode()
        dead = "--pull" in line
        assert done.returncode == (1 if dead else 0), f"{command}\n{said}"
        assert not dead or "The bridge is dead" in said
        return said

    def _start(self, words: list[str]) -> None:
        self._emulator = subprocess.Popen(
            words, cwd=self._folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )

    def leaves(self) -> None:
        if self._emulator is not None:
            self._emulator.terminate()
            self._emulator.wait(10)


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_a_newcomer_gets_from_parts_to_first_pull(image, emulate, workshop):
    newcomer = Newcomer(workshop)
    skipped = ("apt-get", "python -m pytest")  # what CI installs; these very tests
    try:
        for page in [NOTES / "firmware.md", *PAGES[:4]]:
            for command in commands(page):
                if not command.startswith(skipped):
                    newcomer.types(command)
    finally:
        newcomer.leaves()
    assert list((workshop / "first-pulls").glob("*.rec*"))
