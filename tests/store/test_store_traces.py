"""A trace comes back bit for bit, whatever stands in it."""

import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from tensionlog.errors import StoreError
from tensionlog.model.pull import Trace
from tensionlog.store.traces import decode, encode

_LENGTHS = st.integers(0, 40)
_COUNTS = st.integers(-(2**23), 2**23 - 1)

_calm = settings(deadline=None)  # a shared computer may stall in any example


def same_bits(a: Trace, b: Trace) -> bool:
    return (
        a.boot == b.boot
        and a.t_s.tobytes() == b.t_s.tobytes()
        and a.counts.tobytes() == b.counts.tobytes()
    )


@_calm
@given(st.data(), _LENGTHS, st.integers(0, 2**31 - 1))
def test_any_floats_come_back_bit_for_bit(data, length, boot):
    t_s, counts = (data.draw(arrays(np.float64, length)) for _ in range(2))

    assert same_bits(decode(encode(Trace(boot, t_s, counts))), Trace(boot, t_s, counts))


@_calm
@given(st.lists(st.tuples(st.integers(0, 2**53), _COUNTS), max_size=60), st.booleans())
def test_whole_counts_at_whole_microseconds_come_back(rows, divided):
    t_us = np.array([t for t, _ in rows], dtype=np.float64)
    given_trace = Trace(
        1,
        t_us / 1e6 if divided else t_us * 1e-6,
        np.array([c for _, c in rows], dtype=np.float64),
    )

    assert same_bits(decode(encode(given_trace)), given_trace)


@_calm
@given(st.lists(st.decimals(-999, 999, places=3), max_size=30), st.integers(0, 3))
def test_decimals_of_a_plain_dialect_come_back(values, places):
    values = np.array([round(float(v), places) for v in values])
    given_trace = Trace(0, np.arange(len(values)) / 1e3, values)

    assert same_bits(decode(encode(given_trace)), given_trace)


@pytest.mark.parametrize(
    "values",
    [
        [0.0, -0.0],
        [np.nan, 1.0],
        [np.inf, -np.inf],
        [2.0**62, -(2.0**62), 2.0**62],
        [-(2.0**63), 2.0**63],
        [5e-324, 1e308],
        [1e16, 1.0],
    ],
)
def test_values_at_the_edges_come_back(values):
    series = np.array(values)
    given_trace = Trace(0, series, series[::-1].copy())

    assert same_bits(decode(encode(given_trace)), given_trace)


def test_a_pull_takes_a_few_bytes_a_sample(a_trace):
    """House noise of 450 counts and a jitter of 50 µs are 2.3 bytes of pure chance."""
    rng = np.random.default_rng(3)
    counts = np.rint(85_000 + rng.normal(0, 450, 2000))

    blob = encode(a_trace(2000)._replace(counts=counts))

    assert len(blob) < 3.0 * 2000


def test_decimals_are_packed_as_integers_not_as_floats():
    values = np.round(np.linspace(0, 110, 2000), 2)

    assert len(encode(Trace(0, np.arange(2000) / 1e3, values))) < 2000


def test_a_trace_without_samples_comes_back():
    empty = decode(encode(Trace(0, np.array([]), np.array([]))))

    assert (len(empty.t_s), len(empty.counts)) == (0, 0)


def test_what_is_read_may_be_written_to(a_trace):
    trace = decode(encode(a_trace(3)))
    trace.counts[0] = 1.5

    assert trace.counts[0] == 1.5


def test_every_single_damaged_bit_is_noticed(a_trace):
    blob = encode(a_trace(12))
    for bit in range(8 * len(blob)):
        damaged = bytearray(blob)
        damaged[bit // 8] ^= 1 << (bit % 8)
        try:
            trace = decode(bytes(damaged))
        except StoreError:
            continue
        # Bits that zlib itself does not use, such as the level it was packed at.
        assert same_bits(trace, a_trace(12))


def test_a_cut_trace_is_refused_with_what_to_do(a_trace):
    with pytest.raises(StoreError, match=r"a trace of 20 bytes is damaged .* Rebuild"):
        decode(encode(a_trace(12))[:20])


def test_a_sound_stream_with_too_little_in_it_is_refused():
    with pytest.raises(StoreError, match="is damaged"):
        decode(zlib.compress(b"\x01\x09\x00\x00\x00\x00\x00\x00\x00"))


def test_a_later_form_is_refused():
    with pytest.raises(StoreError, match=r"form 2, this version reads form 1\. Upgrade"):
        decode(zlib.compress(b"\x02" + bytes(30)))
