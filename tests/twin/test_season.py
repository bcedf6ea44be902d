"""Weeks at one bench: what goes wrong, when it is put right, and that it shows."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.twin import Trouble, play_season
from tensionlog.twin.season import CAUSES

pytestmark = pytest.mark.long

SMALL = {"mains": 2, "crosses": 0, "rate_hz": 20.0}


def header(recording: bytes) -> dict:
    return json.loads(recording.split(b"\n")[1][2:])


def one(cause: str, **how: object):
    trouble = Trouble(cause=cause, day=1, **{"size": 1.0, "mended": 2, **how})
    return play_season(seed=3, days=3, troubles=[trouble], **SMALL)


@given(day=st.integers(0, 60), begins=st.integers(0, 30), grows=st.integers(0, 20))
@settings(max_examples=40, deadline=None)
def test_a_trouble_grows_to_its_size_and_is_gone_when_mended(day: int, begins: int, grows: int):
    trouble = Trouble(cause="clamp-A", day=begins, size=2.0, grows_days=grows, mended=45)

    size = trouble.size_on(day)

    assert 0.0 <= size <= 2.0
    assert (size == 0.0) == (day < begins or day >= 45)
    if begins + grows <= day < 45:
        assert size == 2.0


def test_a_trouble_nobody_models_is_refused():
    with pytest.raises(ValueError, match="'gremlins'"):
        Trouble(cause="gremlins", day=1, size=1.0)


def test_a_day_is_a_check_two_hold_tests_and_the_jobs():
    season = play_season(seed=1, days=2, jobs_per_day=2, troubles=(), **SMALL)
    names = [name for name, _ in season.sittings]

    assert names[:5] == [
        "day000-check",
        "day000-hold-A",
        "day000-hold-B",
        "day000-job1",
        "day000-job2",
    ]
    assert len(names) == 10


def test_sittings_follow_one_another_in_time_and_no_two_are_alike():
    season = play_season(seed=1, days=2, jobs_per_day=2, **SMALL)
    started = [header(played.recording)["started"] for _, played in season.sittings]

    assert started == sorted(started)
    assert len(set(started)) == len(started)


def test_the_same_seed_gives_the_same_season():
    first, second = (play_season(seed=7, days=1, **SMALL) for _ in range(2))

    assert [p.recording for _, p in first.sittings] == [p.recording for _, p in second.sittings]
    assert first.truth == second.truth


def test_a_worn_clamp_slips_until_it_is_cleaned():
    season = one("clamp-B", size=2.0)
    slips = [p.truth["hold"]["slip_mm"] for n, p in season.sittings if n.endswith("hold-B")]
    services = [p for n, p in season.sittings if "service" in n]

    assert slips[1] > slips[0] + 0.8
    assert slips[2] < slips[1] - 0.8
    assert len(services) == 1
    assert b'"note": "service", "clamp": "B", "what": "cleaned"' in services[0].recording
    assert b"\nS," not in services[0].recording


def test_both_clamps_are_cleaned_one_by_one():
    assert [n for n, _ in one("both-clamps").sittings if "service" in n] == [
        "day002-service-A",
        "day002-service-B",
    ]


def test_a_drifting_cell_is_calibrated_anew():
    season = one("cell-span", size=0.9)
    checks = [p for n, p in season.sittings if n.endswith("check")]
    errors = [p.truth["check"]["span_error_pct"] for p in checks]
    known = [header(p.recording)["calibration"]["counts_per_N"] for p in checks]

    assert errors[1] - errors[0] == pytest.approx(0.9, abs=0.15)
    assert errors[2] == pytest.approx(errors[0], abs=0.15)
    assert known[0] == known[1]
    assert known[2] / known[1] == pytest.approx(1.009)


@pytest.mark.parametrize(
    ("cause", "size", "seen"),
    [
        ("cell-zero", 0.8, lambda p: p["job1"].truth["zero_n"]),
        ("head-dial", 2.0, lambda p: p["check"].truth["head"][0]["at_3s_n"] / 2.45),
        ("reference", 0.6, lambda p: p["check"].truth["check"]["mass_error_pct"]),
        ("string", 3.0, lambda p: 100 * p["job1"].truth["string"]["relax_per_decade"]),
    ],
)
def test_each_cause_shows_where_it_should(cause: str, size: float, seen):
    with_it = one(cause, size=size)
    without = play_season(seed=3, days=3, troubles=(), **SMALL)

    def on_day_1(season) -> float:
        return seen(
            {n.split("-", 1)[1]: p for n, p in season.sittings if n.startswith("day001")}
        )

    assert on_day_1(with_it) - on_day_1(without) == pytest.approx(size, rel=0.2)


def test_early_clamping_is_a_matter_of_technique():
    trouble = Trouble(cause="technique", day=0, size=100.0)
    season = play_season(seed=2, days=1, troubles=[trouble], mains=6, crosses=0, rate_hz=20.0)
    job = dict(season.sittings)["day000-job1"]

    assert all("early-clamp" in p["flags"] for p in job.truth["pulls"])


def test_every_cause_can_be_played():
    for cause in CAUSES:
        trouble = Trouble(cause=cause, day=0, size=0.5)
        season = play_season(seed=1, days=1, jobs_per_day=0, troubles=[trouble], rate_hz=10.0)
        assert season.truth["days"][0]["sizes"] == {cause: 0.5}
