"""The fast look: the same pulls as the slow one, and a release told from a let-off."""

import math

import pytest

from tensionlog.model.recording import Arrival, Note
from tensionlog.pipeline.quick import Quick
from tensionlog.pipeline.releases import Releases
from tensionlog.pipeline.replay import replay
from tensionlog.pipeline.sitting import Sitting
from tensionlog.sources.header import idle_header
from tensionlog.sources.recording import open_recording


@pytest.fixture
def quick():
    header = {"bench": "b", "purpose": "free", "rate_hz": 80.0}
    return Quick(
        idle_header({**header, "calibration": {"zero_counts": 0, "counts_per_N": 100}})
    )


def readings(quick, force_of, *, lasts_s=3.0, noise=0.02):
    """A made-up trace at 80/s, with a noise that repeats."""
    quick.recent = [
        (i / 80.0, force_of(i / 80.0) + noise * math.sin(12.9898 * i * i))
        for i in range(round(80 * lasts_s))
    ]
    return quick


def test_a_step_that_stays_is_worth_a_look(quick):
    assert readings(quick, lambda t: 110.0 if t < 2.8 else 107.0).has_stepped()


def test_a_dip_that_a_motor_makes_good_is_worth_a_look_while_it_rises(quick):
    """Waited for until it stood again, its word came a second late."""

    def dips(t):
        return 110.0 if t < 2.85 else 110.0 - 6.0 * math.exp(-(t - 2.85) / 0.15)

    assert readings(quick, dips).has_stepped()


@pytest.mark.parametrize(
    "force_of",
    [
        pytest.param(lambda t: 110.0 + 0.1 * t, id="rising"),
        pytest.param(lambda t: 110.0 if t < 2.85 else 110.0 - 300.0 * (t - 2.85), id="let off"),
        pytest.param(lambda t: 110.0 if t < 2.8 else 0.1, id="off"),
        pytest.param(lambda t: 110.0, id="flat"),
    ],
)
def test_what_is_no_release_is_not(quick, force_of):
    assert not readings(quick, force_of).has_stepped()


def test_before_the_first_readings_nothing_is_known(quick):
    assert not quick.has_stepped()
    assert quick.level() is None
    assert quick.shape_under_way() is None
    assert quick.last_shape() is None


def test_it_finds_the_pulls_of_the_slow_reading_in_their_places(short_path):
    reader = open_recording(short_path)
    quick = Quick(reader.header)
    for item in reader:
        if isinstance(item, bytes):
            quick.feed(item)
        elif isinstance(item, Arrival):
            quick.arrived(item.at_s)
        elif isinstance(item, Note):
            quick.note(item)
    whole = replay(short_path)
    slow = [(f.pull.position, f.pull.void, round(f.pull.start_s, 2)) for f in whole.found]
    standing = quick.standing()
    assert quick.standing() is standing  # nothing has changed
    assert [
        (x.place.position, x.place.void, round(x.start_s, 2)) for x in standing.laps
    ] == slow
    assert standing.next_place is None  # the job was ended
    assert not standing.is_loaded


def test_a_pull_is_read_as_it_is_let_off(short_path):
    """By itself and at once, and nearly as the slow reading has it."""
    reader = open_recording(short_path)
    quick, sitting = Quick(reader.header), Sitting(reader.header)
    releases = Releases(lambda: 0.0)
    releases.begin(quick, sitting)
    read = []
    for item in reader:
        for one in (quick, sitting):
            if isinstance(item, bytes):
                one.feed(item)
            elif isinstance(item, Arrival):
                one.arrived(item.at_s)
            elif isinstance(item, Note):
                one.note(item)
        before = len(read)
        if isinstance(item, bytes) and (pull := releases.let_off()) is not None:
            read.append(pull)
        if len(read) != before or sitting.looked is None:
            sitting.whole()
    slow = replay(short_path).found
    assert [p.position for p in read] == [f.pull.position for f in slow]
    for one, found in zip(read, slow, strict=True):
        assert one.release == pytest.approx(found.pull.release, abs=0.5)


class Held(Quick):
    """A hold under way whose trace is made up; counts how often it is looked at."""

    looks = 0

    @property
    def is_loaded(self):
        return True

    def shape_under_way(self):
        self.looks += 1


def test_a_step_once_seen_is_not_read_on_while_the_head_lets_off(monkeypatch):
    """What falls then would be told as a loss (11 N of it, of a clamp that held)."""
    header = {"bench": "b", "purpose": "free", "rate_hz": 80.0}
    quick = Held(idle_header({**header, "calibration": {"zero_counts": 0, "counts_per_N": 1}}))
    now = [10.0]
    releases = Releases(lambda: now[0])
    releases.begin(quick, Sitting(quick.header))
    monkeypatch.setattr(releases, "_seen_since_s", 10.0)

    for n, fall_n_per_s in enumerate((0.0, 100.0, 300.0, 1000.0)):
        now[0] += 0.1
        speed = fall_n_per_s
        readings(quick, lambda t, v=speed: 110.0 - v * max(t - 2.9, 0.0))
        assert quick.stands() == (n == 0)
        releases.under_way()

    assert quick.looks == 1
