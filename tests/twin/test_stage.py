"""A bench that waits for its cue, with numbers that go on."""

from itertools import pairwise

import pytest

from tensionlog.twin import play_job
from tensionlog.twin.stage import StageFeed
from tensionlog.wire import decode_line


@pytest.fixture(scope="module")
def job():
    return play_job(seed=5, sport="squash", mains=2, crosses=0, pace=0.2).recording


def samples(said: bytes):
    lines = [decode_line(line + b"\n") for line in said.splitlines() if line.startswith(b"S,")]
    return [(s.seq, s.t_us, s.counts) for s in lines]


def test_it_idles_plays_what_is_put_on_and_idles_again_without_a_gap(job):
    feed = StageFeed(job, rate_hz=80.0)
    feed.opened(0.0)
    said = feed.due(2.0, waiting=0)
    feed.put_on(job)
    assert not feed.is_idle
    said += feed.due(4.0, waiting=0)
    assert feed.began_s(0) is not None
    for now_s in range(5, 200, 5):
        said += feed.due(float(now_s), waiting=0)
        if feed.is_idle:
            break
    found = samples(said)
    assert feed.is_idle
    steps = {(b[0] - a[0]) % 65_536 for a, b in pairwise(found)}
    assert steps == {1}
    assert max(c for *_, c in found) - min(c for *_, c in found) > 100_000


def test_a_device_asked_for_two_rates_in_one_breath_leaves_out_no_number(job):
    feed = StageFeed(job, rate_hz=80.0)
    feed.opened(0.0)
    said = feed.due(1.0, waiting=0)
    feed.told(b"R,40\nR,80\nR,40\n")
    found = samples(said + feed.due(3.0, waiting=0))
    assert {(b[0] - a[0]) % 65_536 for a, b in pairwise(found)} == {1}
