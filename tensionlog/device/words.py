"""Identities and findings in plain words: what it is, and what to do about it."""

from typing import Final

from tensionlog.device.clock import Clock
from tensionlog.device.diagnosis import Finding
from tensionlog.device.identity import PROTO, Identity
from tensionlog.device.noise import Noise

FINDING_WORDS: Final = {
    "no-samples": "No reading came. Has the converter power, are its two wires in place?",
    "saturated": (
        "{pct:.0f} % of the readings stand at the end of the converter's range. Is a wire "
        "off, or one of the excitation pair exchanged with one of the signal pair? Else the "
        "cell is overloaded: unload it."
    ),
    "data-line-high": (
        "Every reading is -1: the data line stands high. The converter has no power, or its "
        "data wire is off."
    ),
    "data-line-low": (
        "Every reading is 0: the data line stands low, or the converter's inputs are shorted."
    ),
    "repeats": (
        "The converter repeats {code:.0f}. No bridge is so still: its clock wire is off, or "
        "the firmware sends an old value."
    ),
    "near-end": (
        "Empty, the cell stands at {pct:.0f} % of the range. One wire of the excitation is "
        "exchanged with one of the signal, or the cell was bent by an overload."
    ),
    "far-from-zero": (
        "Empty, the cell stands at {pct:.0f} % of the range. Take everything off it; if that "
        "stays, it was overloaded once, or a wire has a bad joint."
    ),
    "in-range": "Empty, the cell stands at {pct:.1f} % of the range.",
    "dead-bridge": (
        "The pull moved nothing ({sds:.1f} standard deviations). The bridge is dead: no "
        "excitation, both signal wires in one place, or the cell is not in the line of force."
    ),
    "swapped": (
        "The pull moved the reading by {moved:.0f} counts, the wrong way. Exchange the two "
        "signal wires, or calibrate with the sign as it is."
    ),
    "answers": "The pull moved the reading by {moved:.0f} counts: the bridge is alive.",
    "too-fast": (
        "It says {says_hz:g}/s and sends {device_hz:.1f}/s: data and clock wire are "
        "exchanged, or one is loose. These are no readings."
    ),
    "other-rate": (
        "It says {says_hz:g}/s and converts {device_hz:.1f} times a second. Is the "
        "converter's rate pin or jumper where the firmware believes it is?"
    ),
    "rate": "It says {says_hz:g}/s and converts {device_hz:.3f} times a second.",
    "hum": (
        "{pct:.0f} % of the noise is a wave of {amplitude:.0f} counts at {looks_like_hz:.1f} "
        "Hz, where {at_hz:g} Hz of the mains stands at this rate. Ground the shield at one "
        "end, keep the cable away from mains and transformer. A real vibration there looks "
        "the same: another rate tells."
    ),
    "hum-hidden": (
        "At {rate_hz:.1f}/s the mains' {at_hz:g} Hz looks like drift and cannot be told from "
        "it. Look again at another rate."
    ),
    "spikes": (
        "{n:.0f} readings jumped by up to {largest:.0f} counts ({per_min:.0f} a minute): a "
        "motor, a relay or a loose plug. Look at shield and ground, and at what was running."
    ),
    "stuck-bits": (
        "{n:.0f} readings are codes of all ones: the data line sticks high in mid-reading. "
        "Shorten the wires between controller and converter, check its supply."
    ),
    "noisy": (
        "Noise is {sd:.0f} counts, {ratio:.1f} times what the parts must have "
        "({budget:.0f}): shield, joints, a draught, a machine that runs?"
    ),
    "too-quiet": (
        "Noise is {sd:.1f} counts, {ratio:.2f} of what the parts must have ({budget:.1f}). "
        "Does the firmware smooth its readings, or is the bridge not there?"
    ),
    "noise": "Noise is {sd:.1f} counts, {ratio:.2f} of what the parts must have.",
    "drifts": (
        "The empty cell drifts by {n_per_h:+.1f} N an hour (u {u:.1f}). Let it warm up for "
        "half an hour, out of sun and draught."
    ),
    "loses": (
        "{missing:.0f} readings went missing and {bad:.0f} lines were damaged, of {n:.0f}. "
        "Another cable, another socket, no hub."
    ),
    "restarts": "The device started again {n:.0f} times. Check cable and supply.",
    "fault": "The device itself says {name} ({n} times).",
}
"""One text for every finding."""

IDENTITY_WORDS: Final = {
    "sound": "{device}, firmware {firmware}, {rate:g} samples/s, {bits} bits, start {boot}",
    "later": (
        "{device} speaks version {proto} of the wire and this tensionlog version {ours}. "
        "Upgrade tensionlog, or put an older firmware on it."
    ),
    "earlier": (
        "{device} speaks version {proto} of the wire and this tensionlog version {ours}. "
        "Put a newer firmware on it."
    ),
    "unnamed": (
        "readings come, but it does not say who it is. Its firmware does not answer '?': it "
        "can be recorded, and a restart may go unnoticed."
    ),
    "several": (
        "{names} speak on one line. One port, one device: unplug the other, or give each "
        "its own."
    ),
    "other": (
        "lines come that are not of the wire, such as {example!r}. If that is somebody "
        "else's sketch, name its pattern with 'tensionlog bench set --pattern'."
    ),
    "rubbish": (
        "{n} bytes came and none of them make a line. Most likely its speed is another: "
        "try --baud 9600, 57600 or 230400."
    ),
    "silent": (
        "nothing came. Check the device's power and its firmware; a board takes up to two "
        "seconds to start."
    ),
}
"""One text for every state of an identity."""


def finding_words(finding: Finding) -> str:
    """Say one finding."""
    return FINDING_WORDS[finding.code].format(**finding.figures)


def identity_words(who: Identity, *, bytes_read: int = 0, example: str = "") -> str:
    """Say who answers."""
    hello = who.hello
    return IDENTITY_WORDS[who.state].format(
        device=hello.device if hello else "",
        firmware=(hello.firmware or "not named") if hello else "",
        rate=hello.rate_hz if hello else 0.0,
        bits=hello.adc_bits if hello else 0,
        boot=hello.boot if hello else "",
        proto=hello.proto if hello else 0,
        ours=PROTO,
        names=" and ".join(who.names),
        n=bytes_read,
        example=example,
    )


def shared_words(name: str, ports: list[str]) -> str:
    """Say that two devices have one name."""
    return (
        f"{' and '.join(ports)} both call themselves {name}. Give each device a name of its "
        "own, or nobody can tell their recordings apart."
    )


def clock_words(clock: Clock) -> str:
    """Say the true rate, and how far the device's clock is off."""
    if clock.ppm is None or clock.u_ppm is None:
        return f"{clock.device_hz:.3f} readings/s by the device's own clock"
    return (
        f"{clock.true_hz:.4f} readings/s by this computer's clock, the device's is off by "
        f"{clock.ppm:+.0f} ppm (u {clock.u_ppm:.0f})"
    )


def noise_words(noise: Noise, *, counts_per_n: float | None) -> str:
    """Say how still the empty cell is, in newtons where they are known."""
    scale, unit = (1.0, "counts") if not counts_per_n else (1.0 / abs(counts_per_n), "N")
    digits = 1 if scale == 1.0 else 4
    return (
        f"noise {noise.sd * scale:.{digits}f} {unit} "
        f"(u {noise.u_sd * scale:.{digits}f}), "
        f"wander {noise.walk * scale:.{digits}f} {unit}/√s, "
        f"drift {noise.drift_per_h * scale:+.{digits}f} {unit}/h "
        f"(u {noise.u_drift_per_h * scale:.{digits}f})"
    )
