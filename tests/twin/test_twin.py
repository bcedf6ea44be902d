"""The public face of the twin."""

import json

import pytest

import tensionlog.twin as twin
from tensionlog.twin import draw_bench, play_check, play_hold, play_job


def test_the_public_names_are_sorted_and_all_there():
    assert twin.__all__ == sorted(twin.__all__, key=lambda name: (name[0].islower(), name))
    assert all(hasattr(twin, name) for name in twin.__all__)


@pytest.mark.parametrize(
    "played",
    [play_job(seed=1, mains=2, crosses=0, pace=0.0), play_check(seed=1), play_hold(seed=1)],
    ids=["job", "check", "hold"],
)
def test_everything_that_is_played_says_that_it_is_invented(played: twin.Played):
    assert "invented" in json.loads(played.recording.split(b"\n")[1][2:])["origin"]


@pytest.mark.parametrize("rate_hz", [0.0, 9.9, 1281.0, float("nan")])
def test_a_rate_no_such_device_has_is_refused(rate_hz: float):
    with pytest.raises(ValueError, match="10 to 1280"):
        draw_bench(1, rate_hz=rate_hz)


@pytest.mark.parametrize("rate_hz", [10.0, 1280.0])
def test_the_slowest_and_the_fastest_device_can_be_played(rate_hz: float):
    played = play_job(seed=1, mains=2, crosses=0, pace=0.0, rate_hz=rate_hz)

    assert played.truth["samples"] == pytest.approx(
        rate_hz * played.truth["pulls"][-1]["let_off_s"], rel=0.5
    )
