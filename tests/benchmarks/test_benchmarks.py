"""The benchmarks run, and every figure stands beside one of the same run."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_every_figure_has_a_peer_measured_in_the_same_run(tmp_path):
    out = tmp_path / "figures.json"
    ran = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks", "--quick", "--json", str(out)],
        cwd=ROOT, capture_output=True, text=True, check=True, timeout=580,
    )  # fmt: skip

    said = json.loads(out.read_text(encoding="utf-8"))
    groups = {row["group"] for row in said["rows"]}
    assert {"decode", "replay", "find pulls", "store", "rebuild", "size"} <= groups
    assert {"start-up", "live"} <= groups
    assert all(row["figure"] > 0 and row["peer_figure"] >= 0 for row in said["rows"])
    assert "| **decode** |" in ran.stdout
