"""How often a check says `good`: by simulation, of the rule and of whole checks on the twin.

    .venv/bin/python tests/test_measured_checks.py [CHECKS]

prints the table that stands in the README. Bench, plates, noise and swing are drawn anew
for each check.
"""

import sys
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tensionlog.check.verdict import COVERAGE_FACTOR, Tolerance, judge
from tensionlog.pipeline.replay import replay
from tensionlog.twin import draw_bench, play_check

MASS_KG = 10.0
U_MASS_PCT = 0.02
"""What the twin's check says of its plates; they are drawn to be off by as much."""

FIRST_SEED = 700_000
DRAWS = 400_000


def share_good_by_rule(*, at_u_from_tolerance: float, n: int = DRAWS, seed: int = 1) -> float:
    """Share of `good` where the error lies so many u below the tolerance (1 N, u 0.05 N)."""
    u_n, tolerance_n = 0.05, 1.0
    error = tolerance_n - at_u_from_tolerance * u_n
    read = np.random.default_rng(seed).normal(error, u_n, n)
    good = [judge(error_n=e, u_n=u_n, tolerance_n=tolerance_n) == "good" for e in read.tolist()]
    return float(np.mean(good))


def checked(seed: int, span_error: float, folder: Path) -> dict[str, object]:
    """One morning check on the twin, one mass, through the path of every recording."""
    bench = draw_bench(seed)
    bench = replace(bench, cell=replace(bench.cell, span_error=span_error, bow=0.0))
    path = folder / "a.rec"
    heavier_pct = float(np.random.default_rng(seed).normal(0.0, U_MASS_PCT))
    played = play_check(
        seed=seed, bench=bench, masses_kg=(MASS_KG,), mass_error_pct=heavier_pct
    )
    path.write_bytes(played.recording)
    check = replay(path, keep_traces=False).tests.check
    assert check is not None
    return check


def verdicts(n: int, folder: Path, *, below_by_expanded: float) -> Iterator[bool]:
    """Whether each of `n` checks is `good`, its cell so many U below the tolerance."""
    for seed in range(FIRST_SEED, FIRST_SEED + n):
        (first,) = checked(seed, 0.0, folder)["points"]  # type: ignore[misc]
        load_n, u_n = first["reference_N"], first["u_N"]
        error_n = Tolerance().at_n(load_n) - below_by_expanded * COVERAGE_FACTOR * u_n
        yield checked(seed, error_n / load_n, folder)["verdict"] == "good"


def test_at_the_tolerance_the_rule_passes_at_most_one_in_forty():
    """JCGM 106: guarded acceptance with a guard band of U = 2 u."""
    assert share_good_by_rule(at_u_from_tolerance=0.0) <= 0.025


def test_two_expanded_uncertainties_below_it_passes_thirty_nine_in_forty():
    assert share_good_by_rule(at_u_from_tolerance=4.0) >= 0.975


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_whole_checks_keep_the_guard_band(tmp_path):
    """A share of n = 60 lies above 2.5 % by chance now and then: 9 % is its 99.9 % limit."""
    at = list(verdicts(60, tmp_path, below_by_expanded=0.0))
    below = list(verdicts(60, tmp_path, below_by_expanded=2.0))

    assert np.mean(at) <= 0.09
    assert np.mean(below) >= 0.91


def rows(n: int, folder: Path) -> Iterator[str]:
    """The README's table, a row each."""
    yield "| error of the cell | `good`, the rule alone | `good`, whole checks |"
    yield "| --- | --- | --- |"
    for words, by in (("at the tolerance", 0.0), ("at the tolerance less 2 U", 2.0)):
        rule = 100 * share_good_by_rule(at_u_from_tolerance=2 * by)
        whole = sum(verdicts(n, folder, below_by_expanded=by))
        yield f"| {words} | {rule:.2f} % of {DRAWS} | {whole} of {n} |"


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        for row in rows(int(sys.argv[1]) if len(sys.argv) > 1 else 200, Path(name)):
            sys.stdout.write(f"{row}\n")
