"""`demo --check`: bench time is counted step by step, and fits."""

import pytest

from tensionlog.cli import demo_check as module
from tensionlog.cli.demo_check import MOST_S, guide


@pytest.mark.parametrize("kind", ["daily", "weekly"])
def test_what_is_planned_fits_into_the_time_that_people_have(kind):
    assert sum(ask.lasts_s for ask in guide(kind).asks) <= MOST_S[kind]


@pytest.mark.slow
def test_both_checks_are_made_unattended_and_fit(run, tmp_path):
    ran = run("demo", "--check", "--folder", tmp_path, "--json")

    row = ran.rows[0]
    assert ran.code == 0
    for kind, most_s in MOST_S.items():
        made = row[kind]
        assert made["bench_s"] <= most_s
        assert sum(took for took, _ in made["steps"]) == pytest.approx(made["bench_s"], abs=1.0)
        assert made["check"]["verdict"] == "good"
    assert len(row["weekly"]["head"]) == 6 and len(row["weekly"]["holds"]) == 2
    (page,) = tmp_path.glob("check-*.html")
    assert "What to dial" in page.read_text(encoding="utf-8")


def test_the_demo_says_each_step_with_its_seconds(run, tmp_path, monkeypatch):
    """On a check of the cell alone, which is soon made."""
    from tensionlog.check.setup import setup_from_table
    from tensionlog.pipeline.check_guide import check_guide

    def small(kind):
        setup = setup_from_table({**module.BENCH, "weekly_kg": [10, 5]})
        return check_guide(setup, full=False, parts=["cell"])

    monkeypatch.setattr(module, "guide", small)
    ran = run("demo", "--check", "--folder", tmp_path)

    assert ran.code == 0
    assert " s  Hang 10 kg." in ran.out
    assert ran.out.count("fits in") == 2
    assert "invented" in ran.err
