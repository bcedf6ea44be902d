"""Loaded stretches in a stream of readings: none missed, none cut in two, none invented."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.pulls.finder import StretchFinder
from tensionlog.pulls.finder_rule import FinderRule

RATE_HZ = 80.0


def finder(**how: object) -> StretchFinder:
    return StretchFinder(**{"newtons_per_count": 1.0, "rate_hz": RATE_HZ, **how})


def found_in(force, *, rate_hz: float = RATE_HZ, scale: float = 1.0, boot=0, **rule: object):
    """Stretches in forces given as counts of 1/`scale`, the last one cut off if need be."""
    f = finder(newtons_per_count=scale, rate_hz=rate_hz, rule=FinderRule(**rule))
    out = [f.push(boot, i / rate_hz, y / scale) for i, y in enumerate(force)]
    return [s for s in [*out, f.interrupt()] if s is not None]


def bench(*loads: tuple[float, float], rate_hz: float = RATE_HZ, noise: float = 0.05, seed=0):
    """Force of (newtons, seconds) one after another, four seconds of nothing around each."""
    parts = [np.zeros(round(4.0 * rate_hz))]
    for newtons, seconds in loads:
        parts += [np.full(round(seconds * rate_hz), newtons), np.zeros(round(4.0 * rate_hz))]
    force = np.concatenate(parts)
    return force + np.random.default_rng(seed).normal(0.0, noise, len(force))


# ------------------------------------------------------------------------------- laws


@given(
    loads=st.lists(st.tuples(st.floats(20.0, 400.0), st.floats(0.5, 5.0)), max_size=6),
    rate_hz=st.sampled_from([10.0, 80.0, 320.0]),
    zero=st.floats(-200.0, 200.0),
    scale=st.sampled_from([1e-4, 1.0, -1e-4]),
)
@settings(max_examples=30)
def test_as_many_loads_as_stretches_whatever_rate_zero_and_wiring(loads, rate_hz, zero, scale):
    force = bench(*loads, rate_hz=rate_hz) + zero

    found = found_in(force, rate_hz=rate_hz, scale=scale)

    assert len(found) == len(loads)
    for stretch, (newtons, seconds) in zip(found, loads, strict=True):
        held_s = stretch.t_s[stretch.last] - stretch.t_s[stretch.first]
        assert held_s == pytest.approx(seconds, abs=2.0 / rate_hz)
        middle = stretch.counts[(stretch.first + stretch.last) // 2] - stretch.base
        assert middle * scale == pytest.approx(newtons, abs=1.0)
        assert not stretch.cut_at_end


@given(zero=st.floats(-50.0, 50.0), seed=st.integers(0, 1000))
@settings(max_examples=20)
def test_an_empty_cell_gives_nothing(zero: float, seed: int):
    assert found_in(bench(seed=seed) + zero) == []


@given(drift=st.floats(-0.05, 0.05))
@settings(max_examples=20)
def test_a_zero_that_wanders_slowly_is_followed(drift: float):
    force = bench((100.0, 3.0), (100.0, 3.0)) + drift * np.arange(round(18.0 * RATE_HZ)) / 10

    assert len(found_in(force)) == 2


def as_told(stretch) -> tuple:
    """All that a stretch says, in comparable form."""
    return (
        stretch.boot,
        stretch.t_s.tolist(),
        stretch.counts.tolist(),
        stretch.first,
        stretch.last,
        stretch.base,
        stretch.cut_at_end,
        stretch.cut_at_start,
    )


forces = st.lists(
    st.tuples(
        st.sampled_from([-40.0, -3.0, 0.0, 1.9, 5.0, 9.0, 11.0, 13.0, 90.0]), st.integers(1, 60)
    ),
    min_size=1,
    max_size=20,
)


@given(
    parts=forces,
    cuts=st.lists(st.integers(0, 1200), max_size=6),
    scale=st.sampled_from([1.0, 100.0, -100.0]),
    longest=st.sampled_from([50, 400_000]),
    restart=st.one_of(st.none(), st.integers(0, 800)),
    seed=st.integers(0, 99),
)
@settings(max_examples=60)
def test_many_at_once_give_the_same_as_one_by_one(parts, cuts, scale, longest, restart, seed):
    force = np.concatenate([np.full(n, level) for level, n in parts])
    force = force + np.random.default_rng(seed).normal(0.0, 0.3, len(force))
    counts = np.round(force * scale).astype(np.int64)
    t_s = np.arange(len(counts)) / RATE_HZ
    boots = np.zeros(len(counts), int) if restart is None else 1 * (t_s >= restart / RATE_HZ)
    how = {"newtons_per_count": 1.0 / scale, "rule": FinderRule(longest=longest)}
    one, many = finder(**how), finder(**how)
    rows = zip(boots.tolist(), t_s.tolist(), counts.tolist(), strict=True)
    singly = [one.push(*row) for row in rows]
    found = []
    places = {0, len(counts), *(c % len(counts) for c in cuts), int((boots == 0).sum())}
    for begin, end in pairwise(sorted(places)):
        part = slice(begin, end)
        found += many.push_many(int(boots[begin]), t_s[part], counts[part])
        assert many.loaded == (one.loaded if end == len(counts) else many.loaded)
    singly += [one.interrupt()]
    found += [many.interrupt()]
    assert [as_told(s) for s in found if s] == [as_told(s) for s in singly if s]


@pytest.mark.parametrize("size", [1, 5, 7, 100, 333])
def test_how_many_come_at_once_does_not_matter(size: int):
    """Each let-off, with readings near both thresholds, is cut at many places."""
    counts = np.round(100 * bench((100.0, 1.0), (9.0, 0.2), (80.0, 0.7), (30.0, 2.0)))
    counts = counts.astype(np.int64)
    t_s = np.arange(len(counts)) / RATE_HZ
    whole = finder(newtons_per_count=0.01).push_many(0, t_s, counts)
    pieces, found = finder(newtons_per_count=0.01), []
    for at in range(0, len(counts), size):
        found += pieces.push_many(0, t_s[at : at + size], counts[at : at + size])
    assert len(whole) == 3
    assert [as_told(s) for s in found] == [as_told(s) for s in whole]


@given(
    cut=st.integers(1, 1439),
)
@settings(max_examples=20)
def test_what_is_found_so_far_does_not_change_by_looking(cut: int):
    force = bench((100.0, 3.0), (120.0, 3.0))
    f, looked = finder(), finder()
    out, seen = [], []
    for i, y in enumerate(force):
        out.append(f.push(0, i / RATE_HZ, y))
        seen.append(looked.push(0, i / RATE_HZ, y))
        if i == cut:
            looked.under_way()

    assert [s is None for s in out] == [s is None for s in seen]


# ------------------------------------------------------------------------------- cases


@pytest.mark.parametrize("samples", [1, 2])
def test_a_spike_begins_nothing(samples: int):
    force = bench((0.0, 4.0))
    force[400 : 400 + samples] = 5000.0

    assert found_in(force) == []


def test_a_spike_to_zero_does_not_cut_a_pull_in_two():
    force = bench((200.0, 4.0))
    force[450:452] = 0.0

    assert len(found_in(force)) == 1


def test_noise_at_one_threshold_does_not_cut_a_load():
    force = bench((12.0, 5.0), noise=0.8)
    force[400:640] += 2.0

    assert len(found_in(force)) == 1


def test_a_stretch_carries_the_empty_reading_before_and_a_moment_after():
    (stretch,) = found_in(bench((100.0, 3.0)))

    assert stretch.t_s[stretch.first] - stretch.t_s[0] == pytest.approx(4.0, abs=0.2)
    assert stretch.t_s[-1] - stretch.t_s[stretch.last] == pytest.approx(0.32, abs=0.05)
    assert np.all(np.diff(stretch.t_s) > 0.0)


def test_no_more_than_six_seconds_of_empty_reading_are_carried():
    force = np.concatenate([np.zeros(round(20 * RATE_HZ)), bench((100.0, 3.0))])
    (stretch,) = found_in(force)

    assert stretch.t_s[stretch.first] - stretch.t_s[0] == pytest.approx(6.0, abs=0.1)


def test_the_second_of_two_pulls_close_together_has_its_own_empty_reading():
    force = np.concatenate(
        [np.zeros(320), np.full(240, 100.0), np.zeros(60), np.full(240, 100.0), np.zeros(320)]
    )
    _, second = found_in(force)

    before = second.counts[: second.first]
    assert len(before) >= 20
    assert np.median(before) == 0.0


def test_a_restart_under_load_gives_the_stretch_as_far_as_it_came():
    f = finder()
    for i, y in enumerate(bench((100.0, 4.0))[:500]):
        assert f.push(0, i / RATE_HZ, y) is None
    cut = f.push(1, 0.0, 100.0)

    assert cut.cut_at_end
    assert cut.boot == 0
    assert not f.loaded


def test_a_restart_just_after_the_let_off_cuts_nothing():
    force = bench((100.0, 4.0))
    f = finder()
    ended = next(i for i in range(400, len(force)) if force[i] < 50.0)
    for i in range(ended + 15):
        f.push(0, i / RATE_HZ, force[i])

    assert not f.interrupt().cut_at_end


def test_a_string_that_hangs_on_the_cell_as_the_device_comes_back_is_a_load():
    force = bench((80.0, 6.0))
    f = finder()
    first = [f.push(0, i / RATE_HZ, y) for i, y in enumerate(force[:500])]
    second = [f.push(1, i / RATE_HZ, y) for i, y in enumerate(force[620:])]

    assert not any(first)
    cut, rest = (s for s in second if s is not None)
    assert (cut.boot, cut.cut_at_end) == (0, True)
    assert (rest.boot, rest.cut_at_end) == (1, False)
    assert rest.t_s[rest.last] - rest.t_s[rest.first] == pytest.approx(180 / RATE_HZ, abs=0.1)


def test_a_sitting_that_begins_under_load_finds_the_next_pull():
    force = np.concatenate([np.full(240, 150.0), bench((100.0, 3.0))])

    assert len(found_in(force)) == 1


def test_a_load_under_way_can_be_looked_at():
    f = finder()
    for i, y in enumerate(bench((100.0, 4.0))[:420]):
        f.push(0, i / RATE_HZ, y)

    assert f.loaded
    assert f.under_way().cut_at_end
    assert f.under_way().t_s[-1] == pytest.approx(419 / RATE_HZ)


def test_nothing_is_under_way_on_an_empty_cell():
    assert finder().under_way() is None
    assert finder().interrupt() is None


def test_a_very_long_load_keeps_its_ends_and_loses_its_middle():
    force = bench((100.0, 40.0))
    (stretch,) = found_in(force, longest=1000)

    assert len(stretch.t_s) <= 1000 + 60
    assert stretch.t_s[stretch.last] - stretch.t_s[stretch.first] == pytest.approx(40, abs=0.1)


def test_thresholds_without_a_dead_band_are_refused():
    with pytest.raises(ValueError, match=r"below enter_n, not 12\.0 and 12\.0"):
        FinderRule(enter_n=12.0, leave_n=12.0)
