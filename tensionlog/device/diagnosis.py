"""All that was heard, as findings: what it is, how bad, and the figures it rests on."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from tensionlog.device.budget import Budget
from tensionlog.device.clock import Clock, clock_of
from tensionlog.device.heard import Heard
from tensionlog.device.hum import Hum, hidden_mains_hz, hum_of
from tensionlog.device.noise import Noise, noise_of
from tensionlog.device.pull import Answer, answer_of
from tensionlog.device.spikes import Spikes, spikes_of

AT_END_SHARE = 0.5
"""Above this share of saturated codes it is the wiring, below it a load or a knock."""

REPEATS_SHARE = 0.9
NEAR_END = 0.5
"""Share of the range: no cell in order is empty and gives half of it."""

FAR_FROM_ZERO = 0.15
"""A cell's own zero is within some 2 % of its rated output, which is about half the range."""

NOTICED_HUM = 0.1
"""Share of the noise's power from which a hum is worth a wire's while."""

SPIKES_PER_MIN = 2.0
NOISY, QUIET = 1.5, 0.5
"""Measured noise against the budget's."""

LOST_SHARE = 0.001
FAST_DRIFT_N_PER_H: Final = 3.0

BAD, LOOK, FINE = "bad", "look", "fine"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that was found.

    Attributes:
        code: Which; `words` has the text.
        level: `bad`: do not measure with it; `look`: look at it; `fine`.
        figures: The numbers that the text names.
    """

    code: str
    level: str
    figures: Mapping[str, float | str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """What a device, its cell and its wiring are like.

    Attributes:
        noise: Of the empty cell, or None where there is too little.
        clock: Rate and clock, or None without samples.
        hum: The mains, or None where they are not seen.
        spikes: Single readings thrown off.
        answer: What a pull by hand did, or None where nobody pulled.
        findings: Worst first.
    """

    noise: Noise | None
    clock: Clock | None
    hum: Hum | None
    spikes: Spikes
    answer: Answer | None
    findings: tuple[Finding, ...]


def diagnose(
    heard: Heard,
    *,
    pulled_from_s: float | None = None,
    counts_per_n: float | None = None,
    budget: Budget | None = None,
) -> Diagnosis:
    """Tell what is right and wrong with what was heard.

    Args:
        heard: The cell was empty until `pulled_from_s`.
        pulled_from_s: Host second of listening from which somebody pulled; None: nobody.
        counts_per_n: Calibration's slope, or None.
        budget: The noise that the parts must have, or None.
    """
    end_s = float("inf") if pulled_from_s is None else pulled_from_s
    t_s, counts = heard.between(0.0, end_s)
    clock = clock_of(heard)
    noise = noise_of(t_s, counts)
    hum = None
    if clock is not None and noise is not None:
        true_s = t_s * clock.device_hz / clock.true_hz
        hum = hum_of(true_s, counts, rate_hz=clock.true_hz)
    spikes = spikes_of(t_s, counts)
    answer = None
    if pulled_from_s is not None and noise is not None:
        pulled = heard.between(pulled_from_s, float("inf"))[1]
        answer = answer_of(pulled, level=noise.level, sd=noise.sd, counts_per_n=counts_per_n)
    found = [
        *_of_range(heard, noise),
        *_of_pull(answer),
        *_of_clock(clock),
        *_of_noise(noise, hum, spikes, clock, budget),
        *_of_drift(noise, counts_per_n),
        *_of_line(heard),
    ]
    order = {BAD: 0, LOOK: 1, FINE: 2}
    found.sort(key=lambda finding: order[finding.level])
    return Diagnosis(
        noise=noise, clock=clock, hum=hum, spikes=spikes, answer=answer, findings=tuple(found)
    )


def _of_range(heard: Heard, noise: Noise | None) -> list[Finding]:
    if not heard.samples:
        return [Finding(code="no-samples", level=BAD)]
    at_end = 1.0 - len(heard.counts) / heard.samples
    if at_end > AT_END_SHARE and not heard.restarts:
        return [Finding(code="saturated", level=BAD, figures={"pct": 100.0 * at_end})]
    if noise is not None and noise.repeats > REPEATS_SHARE:
        code = float(np.median(heard.counts))
        return [Finding(code=_which_repeats(code), level=BAD, figures={"code": code})]
    if noise is None:
        return []
    share = abs(noise.level) / heard.full_scale
    figures = {"pct": 100.0 * share}
    if share > NEAR_END:
        return [Finding(code="near-end", level=BAD, figures=figures)]
    if share > FAR_FROM_ZERO:
        return [Finding(code="far-from-zero", level=LOOK, figures=figures)]
    return [Finding(code="in-range", level=FINE, figures=figures)]


def _which_repeats(code: float) -> str:
    if code == -1.0:
        return "data-line-high"
    return "data-line-low" if code == 0.0 else "repeats"


def _of_pull(answer: Answer | None) -> list[Finding]:
    if answer is None:
        return []
    figures = {"moved": answer.moved, "sds": answer.sds}
    code, level = {
        "none": ("dead-bridge", BAD),
        "wrong-way": ("swapped", BAD),
        "right": ("answers", FINE),
    }[answer.state]
    return [Finding(code=code, level=level, figures=figures)]


def _of_clock(clock: Clock | None) -> list[Finding]:
    if clock is None or clock.says_hz is None:
        return []
    figures = {"says_hz": clock.says_hz, "device_hz": clock.device_hz}
    if clock.state == "miswired":
        return [Finding(code="too-fast", level=BAD, figures=figures)]
    if clock.state == "other-rate":
        return [Finding(code="other-rate", level=LOOK, figures=figures)]
    return [Finding(code="rate", level=FINE, figures=figures)]


def _of_noise(
    noise: Noise | None,
    hum: Hum | None,
    spikes: Spikes,
    clock: Clock | None,
    budget: Budget | None,
) -> list[Finding]:
    found: list[Finding] = []
    if noise is None or noise.repeats > REPEATS_SHARE:
        return found
    if hum is not None and hum.share > NOTICED_HUM:
        figures = {
            "at_hz": hum.at_hz,
            "looks_like_hz": hum.looks_like_hz,
            "pct": 100.0 * hum.share,
            "amplitude": hum.amplitude,
        }
        found.append(Finding(code="hum", level=LOOK, figures=figures))
    if clock is not None and (hidden := hidden_mains_hz(clock.true_hz)):
        figures = {"at_hz": hidden[0], "rate_hz": clock.true_hz}
        found.append(Finding(code="hum-hidden", level=LOOK, figures=figures))
    if spikes.n > 1 and spikes.per_min > SPIKES_PER_MIN:
        code = "stuck-bits" if spikes.of_bits > spikes.n / 2 else "spikes"
        figures = {"n": spikes.n, "per_min": spikes.per_min, "largest": spikes.largest}
        found.append(Finding(code=code, level=LOOK, figures=figures))
    return found + _against(noise, budget)


def _against(noise: Noise, budget: Budget | None) -> list[Finding]:
    if budget is None:
        return []
    ratio = noise.sd / max(budget.total_counts, 1e-9)
    figures = {"ratio": ratio, "sd": noise.sd, "budget": budget.total_counts}
    if ratio > NOISY:
        return [Finding(code="noisy", level=LOOK, figures=figures)]
    code, level = ("too-quiet", LOOK) if ratio < QUIET else ("noise", FINE)
    return [Finding(code=code, level=level, figures=figures)]


def _of_drift(noise: Noise | None, counts_per_n: float | None) -> list[Finding]:
    if noise is None or not counts_per_n:
        return []
    drift, u = noise.drift_per_h / abs(counts_per_n), noise.u_drift_per_h / abs(counts_per_n)
    if abs(drift) < FAST_DRIFT_N_PER_H or abs(drift) < 3.0 * u:
        return []
    return [Finding(code="drifts", level=LOOK, figures={"n_per_h": drift, "u": u})]


def _of_line(heard: Heard) -> list[Finding]:
    found = []
    lost = heard.missing + heard.bad_lines
    if heard.samples and lost > LOST_SHARE * heard.samples:
        figures = {"missing": heard.missing, "bad": heard.bad_lines, "n": heard.samples}
        found.append(Finding(code="loses", level=LOOK, figures=figures))
    if heard.restarts:
        found.append(Finding(code="restarts", level=BAD, figures={"n": heard.restarts}))
    for name, n in heard.faults.items():
        if name != "saturated":
            found.append(Finding(code="fault", level=BAD, figures={"name": name, "n": n}))
    return found
