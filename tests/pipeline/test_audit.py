"""The conservation law: it holds on whatever the line did, and a lie is found out."""

from functools import partial

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.model.lines import Comment, Sample
from tensionlog.model.recording import Header
from tensionlog.pipeline.audit import Audit, is_rising
from tensionlog.sources.recording import open_recording
from tensionlog.timeline import Gap, Timeline
from tensionlog.twin import faults
from tensionlog.twin.played import FIRST_DAY
from tensionlog.wire import encode

HEADER = Header(bench="north", purpose="free", started=FIRST_DAY, rate_hz=80.0, adc_bits=24)
PERIOD_US = 12_500

DAMAGE = {
    "lost": partial(faults.lose_lines, share=0.01),
    "a run lost": partial(faults.lose_run, samples=30),
    "garbled": partial(faults.garble, share=0.01),
    "cut": partial(faults.cut_mid_line, times=5),
    "noise": partial(faults.noise_burst, times=5),
    "twice": partial(faults.duplicate, share=0.01),
    "spikes": partial(faults.spikes, share=0.01),
    "saturated": partial(faults.saturate, samples=20),
    "near the wrap": partial(faults.near_wrap, within_s=20.0),
    "restart": partial(faults.restart, at_share=0.5),
}


def audited(recording: bytes, tmp_path, **stored):
    path = tmp_path / "a.rec"
    path.write_bytes(recording)
    reader = open_recording(path)
    audit = Audit(reader.header, **stored)
    for item in reader:
        if isinstance(item, bytes):
            audit.feed(item)
        elif hasattr(item, "at_s") and not hasattr(item, "name"):
            audit.arrived(item.at_s)
    return audit.close()


def sample(number: int, counts: int = 1000) -> bytes:
    t_us = (4_294_000_000 + number * PERIOD_US) % 2**32
    return encode(Sample((65_000 + number) % 65_536, t_us, counts + number % 7))


def proof_of(stream: bytes):
    audit = Audit(HEADER)
    audit.feed(stream)
    return audit.close()


def test_a_clean_job_holds(short_job, tmp_path):
    proof = audited(short_job.recording, tmp_path)

    assert proof.problems == ()
    assert proof.counted == proof.ledger.samples == short_job.truth["samples"]


@pytest.mark.parametrize("kind", DAMAGE)
def test_damage_is_declared_and_the_law_holds(short_job, tmp_path, kind):
    spoilt = faults.spoil(short_job, seed=3, kinds=[DAMAGE[kind]])

    proof = audited(spoilt.recording, tmp_path)

    assert proof.problems == ()
    assert spoilt.recording != short_job.recording


@pytest.mark.parametrize("kind", ["lost", "a run lost", "garbled", "cut", "noise", "twice"])
def test_what_the_device_counted_is_known_whatever_was_lost(short_job, tmp_path, kind):
    spoilt = faults.spoil(short_job, seed=4, kinds=[DAMAGE[kind]])

    assert audited(spoilt.recording, tmp_path).counted == short_job.truth["samples"]


@pytest.mark.parametrize("seed", range(3))
def test_all_damage_at_once_is_declared(short_job, tmp_path, seed):
    spoilt = faults.spoil(short_job, seed=seed, kinds=list(DAMAGE.values()))

    assert audited(spoilt.recording, tmp_path).problems == ()


@settings(max_examples=30)
@given(st.sets(st.integers(1, 898)), st.integers(1, 200))
def test_whichever_samples_are_lost_they_are_counted_across_both_wraps(lost, cut):
    stream = b"".join(sample(i) for i in range(900) if i not in lost)
    audit = Audit(HEADER)
    for at in range(0, len(stream), cut * 29):
        audit.feed(stream[at : at + cut * 29])

    proof = audit.close()

    assert proof.problems == ()
    assert (proof.counted, proof.ledger.missing) == (900, len(lost))


def test_saturated_codes_are_samples_though_no_readings():
    ends = [
        encode(
            Sample((65_000 + i) % 65_536, (4_294_000_000 + i * PERIOD_US) % 2**32, 2**23 - 1)
        )
        for i in range(20, 30)
    ]
    stream = b"".join([*map(sample, range(20)), *ends, *map(sample, range(30, 50))])

    proof = proof_of(stream)

    assert proof.problems == ()
    assert proof.ledger.faults == {"saturated": 10}


class Lying:
    """A timeline whose events are tampered with on their way out."""

    def __init__(self, tamper):
        self._tamper, self._feed = tamper, Timeline.feed

    def __enter__(self):
        tamper, feed = self._tamper, self._feed
        Timeline.feed = lambda self, lines: _tampered(feed(self, lines), tamper)

    def __exit__(self, *_):
        Timeline.feed = self._feed


def _tampered(events, tamper):
    return tamper(events) if events else events


def drop(kind):
    return lambda events: [e for e in events if not isinstance(e, kind)]


def double_first(events):
    return events[:1] + events


def invent(events):
    return [*events, events[-1]._replace(t_s=events[-1].t_s + 0.01, counts=7)]


def bend(events):
    return [events[0]._replace(counts=events[0].counts + 1), *events[1:]]


def swallow(events):
    return events[:5] + events[6:]


def overstate(events):
    return [e._replace(missing=e.missing + 1) if isinstance(e, Gap) else e for e in events]


STREAM = b"".join(sample(i) for i in range(100) if not 40 <= i < 50)


@pytest.mark.parametrize(
    ("tamper", "what"),
    [
        (drop(Gap), "undeclared"),
        (overstate, "undeclared"),
        (swallow, "undeclared"),
        (bend, "false"),
        (invent, "false"),
        (double_first, "twice"),
    ],
)
def test_a_timeline_that_lies_is_found_out(tamper, what):
    with Lying(tamper):
        proof = proof_of(STREAM)

    assert getattr(proof, what) > 0
    assert proof.problems


def test_a_gap_of_whole_turns_of_the_number_is_told_by_the_clock():
    lap_s = 65_536 * PERIOD_US / 1e6
    with Lying(
        lambda es: [
            e._replace(after_s=e.after_s - lap_s) if isinstance(e, Gap) else e for e in es
        ]
    ):
        proof = proof_of(STREAM)

    assert proof.undeclared == 65_536


def test_stored_samples_are_crossed_out_and_what_is_left_is_false():
    readings = [(0, i * PERIOD_US / 1e6) for i in range(5)]
    stored = {place: 1000.0 + i for i, place in enumerate(readings)}
    stream = b"".join(sample(i) for i in range(5))

    def false_of(extra):
        audit = Audit(HEADER, stored={**stored, **extra})
        audit.feed(stream)
        return audit.close().false

    assert false_of({}) == 0
    assert false_of({(0, 9.0): 1000.0}) == 1
    assert false_of({readings[2]: 1001.5}) == 1


def test_lines_of_other_kinds_are_neither_samples_nor_damage():
    proof = proof_of(sample(0) + encode(Comment("hello")) + sample(1))

    assert (proof.counted, proof.problems) == (2, ())


def test_without_numbers_the_law_cannot_be_proven_and_that_is_said():
    header = Header(
        bench="north", purpose="free", started=FIRST_DAY, pattern=r"(?P<value>\d+)", unit="N"
    )
    audit = Audit(header)
    audit.arrived(FIRST_DAY.timestamp())
    audit.feed(b"12\n13\nready\n14\n")

    proof = audit.close()

    assert proof.counted is None
    assert "no numbers" in proof.unproven
    assert proof.problems == ()


def test_rising_times_neither_repeat_nor_go_back():
    assert is_rising([0.0, 0.1, 0.2])
    assert not is_rising([0.0, 0.0])
    assert not is_rising([0.1, 0.0])
    assert is_rising([])
