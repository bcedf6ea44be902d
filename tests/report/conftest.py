"""Views for the report's tests: invented jobs whose traces follow the physics.

Workshop, players, frames and strings are made up. A lockout head: ramp, a little
overshoot that springs back, relaxation by r·lg(1 + t/τ), a step as the clamp opens,
let-off. The pulls' own numbers are worked out from the same law that draws the trace.
"""

import math
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from tensionlog.model.job import Job
from tensionlog.model.pull import Pull, Trace
from tensionlog.model.recording import Calibration, Header
from tensionlog.model.sitting import Found, JobRun, Ledger
from tensionlog.report.view import JobView, LastCheck

R, TAU_S, NOISE_N, PHI = 0.045, 0.2, 0.05, 0.95
COUNTS_PER_N, ZERO_COUNTS = 9120.0, 84211.0
RATE_HZ = 80.0


def relaxed(level_n, after_s):
    """The level that a lockout hold has fallen to `after_s` seconds after its top."""
    return level_n * (1.0 - R * np.log10(1.0 + np.maximum(after_s, 0.0) / TAU_S))


def force_n(t_s, *, level_n, ramp_s, release_s, let_off_s, drop_n, slip_n=0.0):
    """Noiseless force at `t_s` seconds from the rise."""
    hold = relaxed(level_n, t_s - ramp_s)
    over = 0.018 * level_n * np.exp(-np.maximum(t_s - ramp_s, 0.0) / 0.06)
    step = (drop_n + slip_n) / (1.0 + np.exp(-(t_s - release_s) / 0.008))
    force = np.where(
        t_s < ramp_s, level_n * np.clip(t_s / ramp_s, 0.0, 1.0) ** 1.3, hold + over - step
    )
    gone = np.exp(-np.maximum(t_s - let_off_s, 0.0) / 0.05)
    return np.where(t_s < 0.0, 0.0, force * gone)


def found_pull(
    number,
    position,
    *,
    start_s,
    target_n,
    rng,
    held=None,
    drop_n=0.0,
    level=1.0,
    hold_s=3.2,
    void=False,
    flags=(),
    clamps=("A", "A"),
    span_m=0.2,
    ea_n=1800.0,
):
    """One pull with its trace; `level` is what the head gives of what was ordered."""
    ramp_s = 0.7 + 0.2 * rng.random()
    release_s = ramp_s + 1.0 + 0.6 * rng.random()
    let_off_s = release_s + hold_s - 1.0
    slip_n = 6.5 if "gripper-slip" in flags else 0.0
    shape = {
        "level_n": level * target_n,
        "ramp_s": ramp_s,
        "release_s": release_s,
        "let_off_s": let_off_s,
        "drop_n": drop_n,
        "slip_n": slip_n,
    }
    # Let-off falls between two samples, as on a real line.
    t = np.arange(round(-1.0 * RATE_HZ), round((let_off_s + 0.8) * RATE_HZ)) / RATE_HZ
    noisy = force_n(t, **shape) + rng.normal(0.0, NOISE_N, t.size)
    seen = drop_n > 0.2
    # Without a seen step the settled law is read as the clamp is shut.
    read_s = (release_s if seen else let_off_s - 0.2) - ramp_s
    expected = float(relaxed(target_n, read_s))
    top = float(relaxed(level * target_n, read_s))
    lost = max(0.4 * top - PHI * top * 0.4 + 2.6 * drop_n, 0.0) if seen else None
    pull = Pull(
        kind="pull",
        unit="N",
        position=position,
        held_position=held,
        void=void,
        target=target_n,
        start_s=start_s,
        top_s=start_s + ramp_s,
        release_s=start_s + release_s if seen else None,
        let_off_s=start_s + let_off_s,
        peak=float(noisy.max()),
        top=top,
        at_3s=float(relaxed(level * target_n, 3.0)),
        expected=expected,
        release=top - drop_n - slip_n,
        drop=(drop_n if seen else 0.004) if held else None,
        drop_u=0.021 if held else None,
        seen=seen,
        clamp_opened=clamps[0] if held else None,
        clamp_shut=clamps[1],
        at_least_lost=lost,
        at_least_give_mm=None if lost is None else 1000.0 * lost * span_m / (ea_n or 1800.0),
        held=None,
        idle=0.0,
        release_u=0.03,
        noise=NOISE_N,
        relaxation=R,
        flags=tuple(flags),
    )
    counts = np.rint(ZERO_COUNTS + COUNTS_PER_N * noisy)
    trace = Trace(boot=0, t_s=t + start_s, counts=counts)
    return Found(number=number, job_number=1, bed=1, pull=pull, trace=trace, rule="lockout 1")


def sequence(mains, crosses):
    """Alternating mains from the centre, then the crosses."""
    each = [f"{side}{i}" for i in range(1, (mains + 1) // 2 + 1) for side in "LR"][:mains]
    return (*each, *(f"X{i}" for i in range(1, crosses + 1)))


def spans_m(mains, crosses, long_m, wide_m):
    """Length in the bed of every string, by the wire page's formula."""
    spans = {}
    half = mains // 2
    for n, length, name in (
        (mains, long_m, lambda i: f"L{half - i}" if i < half else f"R{i - half + 1}"),
        (crosses, wide_m, lambda i: f"X{i + 1}"),
    ):
        for i in range(n):
            x = ((i + 0.5) / n * 2 - 1) * 0.93
            spans[name(i)] = length * math.sqrt(max(1 - x * x, 0.05))
    return spans


SPORTS = {
    "badminton": {
        "mains": 22,
        "crosses": 22,
        "target_mains_n": 24.5 * 4.4482216152605,
        "target_crosses_n": 26.0 * 4.4482216152605,
        "ea": 1800.0,
        "head": (0.245, 0.195),
        "raw": {
            "owner": "Ida Fjeldmark",
            "frame": "Demo frame, 88 g, two grommet strips",
            "frame_limit_N": 130.0,
            "string": "Demo multifilament, white",
            "gauge_mm": 0.68,
            "operator": "Tor",
            "crosses_from": "top",
            "room_C": 20.5,
        },
    },
    "tennis": {
        "mains": 16,
        "crosses": 20,
        "target_mains_n": 24.0 * 9.80665,
        "target_crosses_n": 23.0 * 9.80665,
        "ea": 6500.0,
        "head": (0.335, 0.26),
        "raw": {
            "owner": "Maren Ostvik",
            "frame": "Demo frame, 300 g, sixteen by twenty",
            "string_mains": "Demo polyester, black",
            "string_crosses": "Demo nylon, natural",
            "operator": "Tor",
            "crosses_from": "bottom",
        },
    },
}


def make_job(sport="badminton", **changes):
    """An invented ticket."""
    spec = SPORTS[sport]
    long_m, wide_m = spec["head"]
    job = Job(
        ref="2041",
        sport=sport,
        mains=spec["mains"],
        crosses=spec["crosses"],
        target_mains_n=spec["target_mains_n"],
        target_crosses_n=spec["target_crosses_n"],
        targets_n={},
        sequence=sequence(spec["mains"], spec["crosses"]),
        clamp_left="A",
        clamp_right="B",
        clamp_start="B",
        clamps_crosses=("A", "B"),
        ea_mains_n=spec["ea"],
        ea_crosses_n=spec["ea"],
        u_ea_pct=30.0,
        spans_m=spans_m(spec["mains"], spec["crosses"], long_m, wide_m),
        raw={**spec["raw"], "head_long_m": long_m, "head_wide_m": wide_m},
    )
    return replace(job, **changes)


ODDITIES = {
    "badminton": {
        "R5": {"level": 0.945},
        "L6": {"drop_n": 1.9},
        "R4": {"drop_n": 0.5},
        "X12": {"flags": ("gripper-slip",)},
        "L9": {"level": 1.027},
        "X3": {"flags": ("straightened",), "hold_s": 7.0},
        "X17": {"level": 0.972, "flags": ("early-clamp",)},
        "X18": {"flags": ("early-clamp", "worked-twice")},
    },
    "tennis": {"R3": {"drop_n": 2.4}, "X9": {"level": 0.955}, "X10": {"level": 1.022}},
}


def make_pulls(job, *, rng, again=("R5",)):
    """Every planned pull in order; positions in `again` are first pulled badly."""
    found, start_s = [], 12.0
    last = {}
    for position in job.sequence:
        side = position[0]
        held = last.get(side) or ("L1" if position == "R1" else None)
        clamp = {"L": "A", "R": "B"}.get(side) or "AB"[(int(position[1:]) - 1) % 2]
        opened = {"L": "A", "R": "B"}.get(side) or "AB"[int(position[1:]) % 2]
        common = {
            "target_n": job.target_n(position),
            "held": held,
            "clamps": (opened, clamp),
            "span_m": job.spans_m.get(position, 0.2),
            "ea_n": job.ea_mains_n,
            "rng": rng,
        }
        odd = {"level": 1.0 + rng.normal(0, 0.004), **ODDITIES[job.sport].get(position, {})}
        tries = [{**odd, "level": 0.9, "void": True}, odd] if position in again else [odd]
        for attempt in tries:
            number = len(found) + 1
            found.append(found_pull(number, position, start_s=start_s, **common, **attempt))
            start_s += 13.0 if side in "LR" else 38.0
        last[side] = position
    return tuple(found)


def make_view(sport="badminton", *, seed=7, found=None, job=None, again=("R5",), **changes):
    """A whole invented job, ready for the report."""
    job = job or make_job(sport)
    rng = np.random.default_rng(seed)
    found = make_pulls(job, rng=rng, again=again) if found is None else tuple(found)
    started = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
    calibration = Calibration(
        coefficients=(-ZERO_COUNTS / COUNTS_PER_N, 1.0 / COUNTS_PER_N),
        name="spring 3",
        date="2026-02-11",
    )
    view = JobView(
        recording="2026-03-02-north.rec",
        recorded_on=started,
        header=Header(
            bench="north",
            purpose="job",
            started=started,
            rate_hz=RATE_HZ,
            adc_bits=24,
            calibration=calibration,
            head="lockout",
            tail_m=0.35,
        ),
        job=job,
        run=make_run(),
        found=found,
        ledger=Ledger(samples=144_200, seconds=1802.5, bad_lines=2, missing=3),
        u_calibration_pct=0.25,
        last_check=LastCheck(
            on="2026-03-02",
            age_days=0.1,
            verdict="good",
            span_error_pct=0.12,
            u_span_error_pct=0.08,
        ),
    )
    return replace(view, **changes)


def make_run(**changes):
    """What holds for the whole job."""
    run = JobRun(
        number=1,
        bed=1,
        raw={},
        started_s=2.0,
        ended_s=1790.0,
        relaxation=R,
        tau_s=TAU_S,
        phi_max=PHI,
        phi_measured=False,
        could_show_1mm=12,
        releases=41,
        broke=None,
        inspections=(("frame", "sound"), ("supports", "tight")),
    )
    return replace(run, **changes)


def in_counts(found):
    """The same pull as it is answered without a calibration."""
    pull = found.pull
    scaled = {
        name: None if getattr(pull, name) is None else COUNTS_PER_N * getattr(pull, name)
        for name in ("peak", "top", "at_3s", "release", "drop", "drop_u", "release_u", "noise")
    }
    bare = {"unit": "counts", "target": None, "expected": None, "idle": None}
    gone = {"at_least_lost": None, "at_least_give_mm": None}
    return replace(found, pull=replace(pull, **bare, **gone, **scaled))


def as_void(found):
    """The same pull, redone or undone."""
    return replace(found, pull=replace(found.pull, void=True))


BARE = Pull(
    kind="pull",
    unit="N",
    position="L1",
    held_position=None,
    void=False,
    target=110.0,
    start_s=10.0,
    top_s=10.8,
    release_s=12.0,
    let_off_s=14.0,
    peak=112.0,
    top=106.0,
    at_3s=104.0,
    expected=106.0,
    release=106.0,
    drop=0.0,
    drop_u=0.02,
    seen=False,
    clamp_opened=None,
    clamp_shut="A",
    at_least_lost=None,
    at_least_give_mm=None,
    held=None,
    idle=0.0,
    release_u=0.03,
    noise=0.05,
    relaxation=None,
    flags=(),
)


def bare_pull(number, position="L1", **changes):
    """A pull that is nothing but its numbers: no trace worth drawing."""
    pull = replace(BARE, position=position, **changes)
    trace = Trace(boot=0, t_s=np.empty(0), counts=np.empty(0))
    return Found(number=number, job_number=1, bed=1, pull=pull, trace=trace, rule="bare 1")


def small_view(*found, **changes):
    """A bed of four mains and three crosses; without `found`, strung as it should be."""
    job = make_job(mains=4, crosses=3, sequence=sequence(4, 3))
    return make_view(job=job, found=found or None, again=(), **changes)


class Make:
    """What the tests build views from."""

    view = staticmethod(make_view)
    job = staticmethod(make_job)
    run = staticmethod(make_run)
    pulls = staticmethod(make_pulls)
    pull = staticmethod(found_pull)
    in_counts = staticmethod(in_counts)
    as_void = staticmethod(as_void)
    bare = staticmethod(bare_pull)
    small = staticmethod(small_view)

    @staticmethod
    def uncalibrated():
        """A job recorded without a calibration."""
        view = make_view()
        return replace(
            view,
            header=replace(view.header, calibration=None),
            found=tuple(in_counts(found) for found in view.found),
            u_calibration_pct=None,
            last_check=None,
        )

    @staticmethod
    def plain():
        """A job from another sketch's plain lines, in newtons."""
        view = make_view()
        header = replace(view.header, calibration=None, pattern="(?P<value>.*)", unit="N")
        scale = 1.0 / COUNTS_PER_N
        found = tuple(
            replace(f, trace=f.trace._replace(counts=(f.trace.counts - ZERO_COUNTS) * scale))
            for f in view.found
        )
        ledger = Ledger(samples=144_200, seconds=1802.5, missing=None, restarts=None)
        return replace(view, header=header, found=found, ledger=ledger, u_calibration_pct=None)


@pytest.fixture(scope="session")
def make():
    return Make


@pytest.fixture(scope="session")
def badminton():
    return make_view()


@pytest.fixture(scope="session")
def tennis():
    return make_view("tennis", again=())
