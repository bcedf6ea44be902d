"""Made-up sittings, and how Hypothesis draws the nouns. No bench, player or racket is real."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any, NamedTuple

import numpy as np
import pytest
from hypothesis import strategies as st

from tensionlog.model.pull import FLAGS, Pull, Trace
from tensionlog.model.recording import HEADS, PURPOSES, Calibration, Header, Note
from tensionlog.model.sitting import Found, JobRun, Ledger
from tensionlog.store import Store

# -- one of each, by hand ------------------------------------------------------------------

HEADER = Header(
    bench="north",
    purpose="job",
    started=datetime(2026, 3, 2, 9, 0, 0, 250, tzinfo=UTC),
    rate_hz=80.0,
    adc_bits=24,
    calibration=Calibration((-9.2337, 1 / 9120), "spring", "2026-02-27"),
    head="lockout",
    tail_m=0.35,
    raw={"bench": "north", "odd": [1, None, "é"]},
)
PULL = Pull(
    kind="pull",
    unit="N",
    position="R1",
    held_position="L1",
    void=False,
    target=110.0,
    start_s=1.25,
    top_s=2.5,
    release_s=3.75,
    let_off_s=6.0,
    peak=112.5,
    top=110.25,
    at_3s=109.5,
    expected=108.75,
    release=107.0,
    drop=0.5,
    drop_u=0.0625,
    seen=True,
    clamp_opened="A",
    clamp_shut="B",
    at_least_lost=3.5,
    at_least_give_mm=0.25,
    held=None,
    idle=0.03125,
    release_u=0.02,
    noise=0.05,
    relaxation=0.04,
    flags=("worked-twice", "early-clamp"),
)
RUN = JobRun(
    number=1,
    bed=1,
    raw={"ref": "J-17", "owner": "Nobody", "string": "house nylon", "target_mains_N": 110},
    started_s=0.5,
    ended_s=1700.0,
    relaxation=0.04,
    tau_s=0.2,
    phi_max=0.95,
    phi_measured=False,
    could_show_1mm=7,
    releases=20,
    broke=None,
    inspections=(("frame", "sound"), ("supports", "tight")),
)


def trace(samples: int = 40, *, seed: int = 0, boot: int = 0) -> Trace:
    """A seeded trace of whole counts at whole microseconds."""
    rng = np.random.default_rng(seed)
    t_us = np.cumsum(rng.integers(12_450, 12_550, samples))
    return Trace(boot, t_us / 1e6, rng.integers(80_000, 90_000, samples).astype(float))


def found(number: int, *, job_number: int | None = 1, **changes: Any) -> Found:
    """Pull `number` of a sitting, `PULL` but for `changes`."""
    pull = replace(PULL, **changes)
    kept = trace(seed=number)
    return Found(
        number=number, job_number=job_number, bed=1, pull=pull, trace=kept, rule="pulls 1"
    )


class Sitting(NamedTuple):
    """All that one recording tells the store."""

    header: Header
    runs: Sequence[JobRun] = ()
    founds: Sequence[Found] = ()
    notes: Sequence[Note] = ()
    answers: Sequence[tuple[str, Any]] = ()
    ledger: Ledger = Ledger(samples=1)

    def play(self, store: Store) -> None:
        """Store it in one transaction."""
        with store.transaction():
            number = store.begin(self.header, name="a.rec", digest="ab" * 32)
            for run in self.runs:
                store.add_job(number, run)
            store.add_pulls(number, self.founds)
            store.add_notes(number, self.notes)
            for kind, answer in self.answers:
                store.add_answer(number, kind, answer)
            store.finish(number, self.ledger, drift_ppm=-12.5)


_IN_COUNTS = {"unit": "counts", "target": None, "at_least_lost": None}

SITTINGS = (
    Sitting(
        HEADER,
        (RUN, replace(RUN, number=2, bed=2, ended_s=None, broke="X3")),
        (found(1), found(2, void=True), found(3, job_number=2), found(4, job_number=None)),
        (
            Note(1772442000.5, "job-start", {"note": "job-start", "job": RUN.raw}),
            Note(1772443000.0, "service", {"clamp": "A", "what": "cleaned"}),
        ),
        (("turn", {"phi_rest": 0.5, "phi_tapped": 0.9, "u": 0.02}),),
        Ledger(samples=9, seconds=1.5, bad_lines=2, missing=3, faults={"saturated": 2}),
    ),
    Sitting(
        replace(HEADER, bench="south", calibration=None, pattern="(?P<value>.+)", unit="kg"),
        (RUN,),
        (found(1, **_IN_COUNTS), found(2, **_IN_COUNTS, flags=())),
        ledger=Ledger(samples=5, missing=None, restarts=None),
    ),
    Sitting(
        replace(HEADER, purpose="check", started=datetime(2026, 3, 3, 8, tzinfo=UTC)),
        answers=(
            (
                "check",
                {"zero_N": 0.25, "span_error_pct": None, "points": [], "verdict": "good"},
            ),
            ("head", [{"set_N": 100, "peak_N": 99.5, "at_3s_N": 97.0}, {"set_N": 120}]),
            ("hold", {"clamp": "A", "give_mm": 0.5, "slip_mm": None, "verdict": "good"}),
        ),
    ),
)


@pytest.fixture(scope="session")
def sittings() -> tuple[Sitting, ...]:
    """A calibrated job, one in counts, and a morning check."""
    return SITTINGS


@pytest.fixture(scope="session")
def a_found() -> Callable[..., Found]:
    """The function that makes pull `number`, with changes."""
    return found


@pytest.fixture(scope="session")
def a_trace() -> Callable[..., Trace]:
    """The function that makes a trace of so many samples."""
    return trace


# -- strategies ----------------------------------------------------------------------------

_text = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=8)
_maybe_text = st.none() | _text
_real = st.floats(allow_nan=False)
_finite = st.floats(allow_nan=False, allow_infinity=False)
_maybe = st.none() | _real
_count = st.integers(0, 2**62)
_json = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | _finite
    | st.text(st.characters(exclude_categories=["Cs"]), max_size=6),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_text, inner, max_size=3),
    max_leaves=6,
)
_object = st.dictionaries(_text, _json, max_size=4)
_TICKET_KEYS = ("ref", "owner", "string", "reel_mains", "mains", "target_mains_N", "order")
_MAYBE_IN_PULL = (
    "target top_s release_s let_off_s top at_3s expected release drop drop_u at_least_lost"
    " at_least_give_mm held idle release_u noise relaxation"
).split()

_calibrations = st.builds(
    Calibration,
    st.lists(_finite, min_size=2, max_size=4).map(tuple),
    _text,
    _maybe_text,
)

NOUNS: dict[type, st.SearchStrategy[Any]] = {
    Header: st.builds(
        Header,
        bench=_text,
        purpose=st.sampled_from(PURPOSES),
        started=st.datetimes(timezones=st.just(UTC)),
        rate_hz=_maybe,
        adc_bits=st.none() | st.integers(8, 32),
        calibration=st.none() | _calibrations,
        head=st.none() | st.sampled_from(HEADS),
        tail_m=_maybe,
        pattern=_maybe_text,
        unit=_maybe_text,
        continues=_maybe_text,
        raw=_object,
    ),
    Note: st.builds(Note, _real, _text, _object),
    Ledger: st.builds(
        Ledger,
        samples=_count,
        seconds=_real,
        bad_lines=_count,
        missing=st.none() | _count,
        restarts=st.none() | _count,
        duplicates=_count,
        faults=st.dictionaries(_text, _count, max_size=3),
    ),
    JobRun: st.builds(
        JobRun,
        number=st.integers(1, 9),
        bed=st.integers(1, 9),
        raw=st.dictionaries(st.sampled_from(_TICKET_KEYS) | _text, _json, max_size=5),
        started_s=_real,
        ended_s=_maybe,
        relaxation=_maybe,
        tau_s=_maybe,
        phi_max=_real,
        phi_measured=st.booleans(),
        could_show_1mm=_count,
        releases=_count,
        broke=_maybe_text,
        inspections=st.lists(st.tuples(_text, _text), max_size=3).map(tuple),
    ),
    Pull: st.builds(
        Pull,
        kind=st.sampled_from(("pull", "lift-off")),
        unit=st.sampled_from(("N", "counts")),
        position=_maybe_text,
        held_position=_maybe_text,
        void=st.booleans(),
        start_s=_real,
        peak=_real,
        seen=st.booleans(),
        clamp_opened=_maybe_text,
        clamp_shut=_maybe_text,
        flags=st.lists(st.sampled_from(FLAGS), unique=True).map(tuple),
        **dict.fromkeys(_MAYBE_IN_PULL, _maybe),
    ),
}


@pytest.fixture(scope="session")
def nouns() -> dict[type, st.SearchStrategy[Any]]:
    """How to draw each noun that the store keeps."""
    return NOUNS
