"""Damage to a stream of lines: each function takes bytes, returns bytes and a ledger.

A stream is what a device sends, or a whole recording: the host's own lines (`# `, `@ `,
`! `) are passed over. Only sound samples are damaged, never those at either end of a
boot, so that the ledgers of several kinds of damage add up. A restart drops what it
meets and numbers anew, so let it come first.
"""

from collections.abc import Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from itertools import takewhile
from typing import Protocol

from tensionlog.model.lines import Fault, Hello
from tensionlog.twin.device import SEQ_MOD, TICK_MOD
from tensionlog.twin.played import Played
from tensionlog.twin.renumber import Renumber
from tensionlog.twin.rng import Rng
from tensionlog.twin.rng import stream as stream_of
from tensionlog.twin.tape import (
    HOST_MARKS,
    is_sound,
    lines_of,
    picked,
    safe_samples,
    sample_at,
    since_s,
    spread,
    with_counts,
)
from tensionlog.wire import decode_line, encode

Ledger = dict[str, int]


@dataclass(frozen=True, slots=True)
class Damaged:
    """A stream after damage.

    Attributes:
        stream: What is left of it.
        done: What was done: `bad_lines`, `missing`, `duplicates`, `restarts`, `spikes`,
            `saturated` …, as far as they apply.
        broke_off_s: From when to when nothing came because of a restart, seconds from
            the first sample.
    """

    stream: bytes
    done: Ledger = field(default_factory=dict)
    broke_off_s: tuple[tuple[float, float], ...] = ()


class Damage(Protocol):
    """A kind of damage with its amount already chosen, as `functools.partial` makes it."""

    def __call__(self, stream: bytes, *, rng: Rng) -> Damaged:
        """Damage `stream`."""


def lose_lines(stream: bytes, *, rng: Rng, share: float) -> Damaged:
    """Lose single samples, `share` of them."""
    lines = lines_of(stream)
    hit = picked(lines, rng, share)
    for i in hit:
        lines[i] = b""
    return Damaged(b"".join(lines), {"missing": len(hit)})


def lose_run(stream: bytes, *, rng: Rng, samples: int) -> Damaged:
    """Lose one run of `samples` samples, as a stalled reader does."""
    lines = lines_of(stream)
    safe = safe_samples(lines)
    at = int(rng.integers(0, max(1, len(safe) - samples)))
    gone = safe[at : at + samples]
    for i in gone:
        lines[i] = b""
    return Damaged(b"".join(lines), {"missing": len(gone)})


def garble(stream: bytes, *, rng: Rng, share: float) -> Damaged:
    """Change one byte in `share` of the samples; the checksum always notices one."""
    lines = lines_of(stream)
    hit = picked(lines, rng, share)
    for i in hit:
        lines[i] = _one_byte_changed(lines[i], rng)
    return Damaged(b"".join(lines), {"bad_lines": len(hit), "missing": len(hit)})


def cut_mid_line(stream: bytes, *, rng: Rng, times: int) -> Damaged:
    """Lose bytes from the middle of one line to the middle of the next, `times` times."""
    lines = lines_of(stream)
    safe = set(safe_samples(lines))
    firsts = sorted(i for i in safe if i + 1 in safe)
    done = 0
    for i in spread(firsts, rng, times):
        lines[i : i + 2] = [_joined(lines[i], lines[i + 1], rng), b""]
        done += 1
    return Damaged(b"".join(lines), {"bad_lines": done, "missing": 2 * done})


def noise_burst(stream: bytes, *, rng: Rng, times: int, longest: int = 60) -> Damaged:
    """Put bytes that mean nothing in front of a sample, half of them glued to it."""
    lines = lines_of(stream)
    glued = 0
    hit = spread(safe_samples(lines), rng, times)
    for i in hit:
        noise = _noise(rng, int(rng.integers(1, longest)))
        ends = bool(rng.random() < 0.5)
        lines[i] = noise + (b"\n" if ends else b"") + lines[i]
        glued += not ends
    return Damaged(b"".join(lines), {"bad_lines": len(hit), "missing": glued})


def duplicate(stream: bytes, *, rng: Rng, share: float) -> Damaged:
    """Send `share` of the samples twice."""
    lines = lines_of(stream)
    hit = picked(lines, rng, share)
    for i in hit:
        lines[i] *= 2
    return Damaged(b"".join(lines), {"duplicates": len(hit)})


def spikes(stream: bytes, *, rng: Rng, share: float, size_counts: int = 1 << 20) -> Damaged:
    """Throw single readings off by up to `size_counts`, under a good checksum."""
    lines = lines_of(stream)
    hit = picked(lines, rng, share)
    for i in hit:
        jump = int(rng.integers(size_counts // 4, size_counts)) * int(rng.choice([-1, 1]))
        lines[i] = with_counts(lines[i], sample_at(lines[i]).counts + jump)
    return Damaged(b"".join(lines), {"spikes": len(hit)})


def stuck_bits(stream: bytes, *, rng: Rng, share: float) -> Damaged:
    """Let the data line stick high: single codes of the form 2ᵏ − 1."""
    lines = lines_of(stream)
    hit = picked(lines, rng, share)
    for i in hit:
        code = (1 << int(rng.integers(1, 23))) - 1
        lines[i] = with_counts(lines[i], code)
    return Damaged(b"".join(lines), {"stuck": len(hit)})


def saturate(stream: bytes, *, rng: Rng, samples: int, adc_bits: int = 24) -> Damaged:
    """Drive a run of samples to full scale; the device says so once."""
    lines = lines_of(stream)
    safe = safe_samples(lines)
    at = int(rng.integers(0, max(1, len(safe) - samples)))
    run = safe[at : at + samples]
    code = (1 << (adc_bits - 1)) - 1 if rng.random() < 0.5 else -(1 << (adc_bits - 1))
    for i in run:
        lines[i] = with_counts(lines[i], code)
    first = sample_at(lines[run[0]])
    lines[run[0]] += encode(Fault(first.seq, first.t_us, "saturated"))
    return Damaged(b"".join(lines), {"saturated": len(run), "faults": 1})


def restart(
    stream: bytes, *, rng: Rng, at_share: float, silence_s: float = 1.6, announced: bool = True
) -> Damaged:
    """Let the device start anew: a silence, then another boot, clock and number back.

    Args:
        stream: A stream of the pinned wire.
        rng: Draws the name of the new boot.
        at_share: Where, as a share of the samples.
        silence_s: How long nothing is sent.
        announced: Whether the new boot says hello.
    """
    lines = lines_of(stream)
    begin, end, silent, off_s = _silence(lines, at_share, silence_s)
    boot = f"{int(rng.integers(1, 1 << 16)):04X}"
    said = Renumber(boot=boot, first_t_us=int(rng.integers(200_000, 900_000)))
    hello = [_hello(lines, boot)] if announced else []
    quiet = [line for line in lines[begin:end] if line.startswith(HOST_MARKS)]
    after = [line if line.startswith(HOST_MARKS) else said(line) for line in lines[end:]]
    done: Ledger = {"restarts": 1, "swallowed": silent}
    whole = b"".join([*lines[:begin], *quiet, *hello, *after])
    return Damaged(whole, done, ((off_s, off_s + silence_s),))


def near_wrap(stream: bytes, *, rng: Rng, within_s: float = 30.0) -> Damaged:
    """Move clock and sequence so that both wrap within `within_s` of the start."""
    lines = lines_of(stream)
    hello = next((d for d in map(decode_line, lines) if isinstance(d, Hello)), None)
    said = Renumber(
        boot=hello.boot if hello else "1",
        first_seq=SEQ_MOD - int(rng.integers(2, 500)),
        first_t_us=TICK_MOD - int(rng.uniform(0.2, 1.0) * within_s * 1e6),
    )
    moved = [line if line.startswith(HOST_MARKS) else said(line) for line in lines]
    return Damaged(b"".join(moved))


def torn_tail(stream: bytes, *, rng: Rng) -> Damaged:
    """Tear the last line, as a cut in the power does."""
    last = stream.rfind(b"\n", 0, len(stream) - 1) + 1
    keep = int(rng.integers(1, max(2, len(stream) - last - 1)))
    return Damaged(stream[: last + keep], {"torn": 1})


def damaged(stream: bytes, *, rng: Rng, kinds: Sequence[Damage]) -> Damaged:
    """Do several kinds of damage, one after the other; the ledgers add up."""
    total: Ledger = {}
    broke_off: tuple[tuple[float, float], ...] = ()
    for kind in kinds:
        after = kind(stream, rng=rng)
        stream = after.stream
        broke_off += after.broke_off_s
        for name, amount in after.done.items():
            total[name] = total.get(name, 0) + amount
    return Damaged(stream, total, broke_off)


def spoil(played: Played, *, seed: int, kinds: Sequence[Damage]) -> Played:
    """Damage a whole recording; its truth then tells what was done (`damage`)."""
    after = damaged(played.recording, rng=stream_of(seed, "damage"), kinds=kinds)
    truth = deepcopy(played.truth)
    truth["damage"] = dict(after.done)
    for pull in truth.get("pulls", ()):
        if any(a < pull["let_off_s"] and b > pull["start_s"] for a, b in after.broke_off_s):
            pull["flags"].append("interrupted")
    return Played(recording=after.stream, truth=truth)


def _one_byte_changed(line: bytes, rng: Rng) -> bytes:
    at = int(rng.integers(0, len(line) - 1))
    others = [b for b in range(256) if b not in (line[at], 0x0A)]
    return line[:at] + bytes([int(rng.choice(others))]) + line[at + 1 :]


def _joined(first: bytes, second: bytes, rng: Rng) -> bytes:
    """The first half or so of one line and the end of the next, glued."""
    head = first[: int(rng.integers(len(first) // 2, len(first) - 5))]
    glued = head + second[int(rng.integers(1, len(second) // 2)) :]
    return glued if not is_sound(glued) else head[:-1] + second[1:]


def _noise(rng: Rng, size: int) -> bytes:
    """Bytes that a line is not made of: the upper half, as a wrong baud rate gives."""
    return bytes(rng.integers(0x80, 0x100, size).astype("uint8"))


def _silence(
    lines: Sequence[bytes], at_share: float, silence_s: float
) -> tuple[int, int, int, float]:
    """(first line of the silence, first after it, samples swallowed, when it begins)."""
    safe = safe_samples(lines)
    later = safe[int(at_share * (len(safe) - 1)) :]
    from_us = sample_at(lines[later[0]]).t_us
    swallowed = list(takewhile(lambda i: since_s(lines[i], from_us) < silence_s, later))
    first_us = next(sample_at(line).t_us for line in lines if is_sound(line))
    return later[0], swallowed[-1] + 1, len(swallowed), since_s(lines[later[0]], first_us)


def _hello(lines: Sequence[bytes], boot: str) -> bytes:
    for line in lines:
        hello = decode_line(line)
        if isinstance(hello, Hello):
            return encode(hello._replace(boot=boot))
    raise ValueError("a restart is announced as the first start was, and none was found")
