"""Damage and its ledger: what the decoder then finds is what was done, to the line."""

from collections import Counter
from functools import partial
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.model.lines import BadLine, Fault, Hello, Sample
from tensionlog.twin import faults, play_job
from tensionlog.twin.rng import stream
from tensionlog.twin.tape import lines_of
from tensionlog.wire import LineDecoder

CLEAN = play_job(seed=4, mains=4, crosses=0, pace=0.0, rate_hz=40.0)

KINDS = {
    "lose-lines": partial(faults.lose_lines, share=0.02),
    "lose-run": partial(faults.lose_run, samples=40),
    "garble": partial(faults.garble, share=0.02),
    "cut": partial(faults.cut_mid_line, times=6),
    "noise": partial(faults.noise_burst, times=6),
    "duplicate": partial(faults.duplicate, share=0.01),
    "spikes": partial(faults.spikes, share=0.01),
    "stuck": partial(faults.stuck_bits, share=0.01),
    "saturate": partial(faults.saturate, samples=9),
    "restart": partial(faults.restart, at_share=0.5),
}


def ledger(stream_bytes: bytes) -> Counter:
    """What a reader counts who knows nothing of the damage."""
    found = Counter()
    lines = LineDecoder().feed(stream_bytes)
    found["bad_lines"] = sum(isinstance(line, BadLine) for line in lines)
    found["faults"] = sum(isinstance(line, Fault) for line in lines)
    samples = [line for line in lines if isinstance(line, Sample)]
    for a, b in pairwise(samples):
        if (b.t_us - a.t_us) % 2**32 > 2**31:
            found["restarts"] += 1
        elif a.seq == b.seq:
            found["duplicates"] += 1
        else:
            found["missing"] += (b.seq - a.seq) % 65536 - 1
    return found


def counted(done: dict[str, int]) -> Counter:
    names = ("bad_lines", "faults", "restarts", "duplicates", "missing")
    return Counter({name: done.get(name, 0) for name in names})


@pytest.mark.parametrize("name", sorted(KINDS))
@given(seed=st.integers(0, 10_000))
@settings(max_examples=3, deadline=None)
def test_the_ledger_of_each_kind_is_what_a_reader_counts(name: str, seed: int, said):
    after = KINDS[name](CLEAN.recording, rng=stream(seed, "damage"))

    assert ledger(said(after.stream)) == counted(after.done)
    assert after.stream != CLEAN.recording
    assert sum(after.done.values()) > 0


@given(
    seed=st.integers(0, 10_000),
    names=st.lists(st.sampled_from(sorted(set(KINDS) - {"restart"})), max_size=6),
)
@settings(max_examples=8, deadline=None)
def test_ledgers_add_up(seed: int, names: list[str], said):
    kinds = [KINDS["restart"], *(KINDS[n] for n in names)]

    after = faults.damaged(CLEAN.recording, rng=stream(seed, "damage"), kinds=kinds)

    assert ledger(said(after.stream)) == counted(after.done)


@pytest.mark.parametrize("name", sorted(KINDS))
def test_the_lines_of_the_host_are_left_alone(name: str):
    def of_the_host(recording: bytes) -> list[bytes]:
        return [r for r in recording.split(b"\n") if r.startswith((b"# ", b"@ ", b"! "))]

    after = KINDS[name](CLEAN.recording, rng=stream(1, "damage"))

    assert of_the_host(after.stream) == of_the_host(CLEAN.recording)


@pytest.mark.parametrize("name", sorted(KINDS))
def test_damage_repeats_with_its_seed(name: str):
    first, second = (KINDS[name](CLEAN.recording, rng=stream(5, "d")) for _ in range(2))

    assert first == second


def test_a_restart_changes_the_boot_and_sets_number_and_clock_back(said):
    after = faults.restart(CLEAN.recording, rng=stream(1, "d"), at_share=0.3, silence_s=1.6)
    lines = LineDecoder().feed(said(after.stream))
    hellos = [(i, line) for i, line in enumerate(lines) if isinstance(line, Hello)]
    (_, first), (i, second) = hellos

    assert first.boot != second.boot
    assert first.device == second.device
    assert lines[i + 1].seq == 0
    assert lines[i + 1].t_us < 1_000_000
    assert after.done["swallowed"] == pytest.approx(1.6 * 40, abs=3)


def test_a_restart_may_say_nothing(said):
    after = faults.restart(CLEAN.recording, rng=stream(1, "d"), at_share=0.3, announced=False)
    lines = LineDecoder().feed(said(after.stream))

    assert sum(isinstance(line, Hello) for line in lines) == 1
    assert ledger(said(after.stream))["restarts"] == 1


def test_a_restart_that_cannot_say_hello_is_refused():
    stream_bytes = b"".join(line for line in lines_of(CLEAN.recording) if line[:2] != b"H,")

    with pytest.raises(ValueError, match="announced"):
        faults.restart(stream_bytes, rng=stream(1, "d"), at_share=0.5)


@given(seed=st.integers(0, 1000), within_s=st.floats(5.0, 25.0))
@settings(max_examples=10, deadline=None)
def test_clock_and_numbers_wrap_soon_and_nothing_else_changes(seed: int, within_s: float, said):
    after = faults.near_wrap(CLEAN.recording, rng=stream(seed, "d"), within_s=within_s)
    lines = [s for s in LineDecoder().feed(said(after.stream)) if isinstance(s, Sample)]
    before = [s for s in LineDecoder().feed(said(CLEAN.recording)) if isinstance(s, Sample)]
    wraps = [i for i, (a, b) in enumerate(pairwise(lines)) if b.t_us < a.t_us]

    assert len(wraps) == 1
    assert wraps[0] / 40 <= within_s * 1.05
    assert any(b.seq < a.seq for a, b in pairwise(lines[:520]))
    assert [s.counts for s in lines] == [s.counts for s in before]
    assert ledger(said(after.stream)) == counted({})


def test_saturated_codes_are_full_scale_and_the_device_says_so(said):
    after = faults.saturate(CLEAN.recording, rng=stream(2, "d"), samples=5)
    lines = LineDecoder().feed(said(after.stream))
    full = [s for s in lines if isinstance(s, Sample) and s.counts in (2**23 - 1, -(2**23))]

    assert len(full) == 5
    assert [line.fault for line in lines if isinstance(line, Fault)] == ["saturated"]


def test_stuck_bits_give_codes_one_below_a_power_of_two(said):
    after = faults.stuck_bits(CLEAN.recording, rng=stream(2, "d"), share=0.01)
    was = LineDecoder().feed(said(CLEAN.recording))
    now = LineDecoder().feed(said(after.stream))
    changed = [b.counts for a, b in zip(was, now, strict=True) if a != b]

    assert len(changed) == after.done["stuck"]
    assert all((code + 1) & code == 0 for code in changed)


def test_a_torn_tail_loses_only_the_end_of_the_last_line():
    after = faults.torn_tail(CLEAN.recording, rng=stream(1, "d"))

    assert CLEAN.recording.startswith(after.stream)
    assert not after.stream.endswith(b"\n")
    assert after.stream.count(b"\n") == CLEAN.recording.count(b"\n") - 1


def test_pulls_across_a_restart_are_interrupted():
    total = CLEAN.truth["samples"]
    middle_s = CLEAN.truth["pulls"][2]["top_s"] + 0.3
    at_share = middle_s * CLEAN.truth["rate_hz"] / total

    spoilt = faults.spoil(CLEAN, seed=1, kinds=[partial(faults.restart, at_share=at_share)])
    flagged = [p["position"] for p in spoilt.truth["pulls"] if "interrupted" in p["flags"]]

    assert flagged == ["L2"]
    assert spoilt.truth["damage"]["restarts"] == 1
    assert "damage" not in CLEAN.truth
    assert not any("interrupted" in p["flags"] for p in CLEAN.truth["pulls"])


def test_lines_joined_are_the_stream_again():
    for stream_bytes in (b"", b"a", b"a\n", b"\n\na\rb\nc"):
        assert b"".join(lines_of(stream_bytes)) == stream_bytes
