"""Damage to a stream of lines: each function takes bytes, returns bytes and a ledger.

A stream is what a device sends, or a whole recording: the host's own lines (`# `, `@ `,
`! `) are passed over. Only sound samples are damaged, never those at either end of a
boot, so that the ledgers of several kinds of damage add up. A restart drops what it
meets and numbers anew, so let it come first.
"""

from binascii import crc_hqx
from collections.abc import Iterator, Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from itertools import takewhile
from typing import Protocol

from tensionlog.model.lines import Fault, Hello, Sample
from tensionlog.twin.device import SEQ_MOD, TICK_MOD, sample_line
from tensionlog.twin.played import Played
from tensionlog.twin.renumber import Renumber
from tensionlog.twin.rng import Rng
from tensionlog.twin.rng import stream as stream_of
from tensionlog.wire import decode_line, encode

Ledger = dict[str, int]

_EDGE = 3
"""Samples left alone at either end of a boot."""

_HOST = (b"# ", b"@ ", b"! ")


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
    lines = _lines(stream)
    hit = _picked(lines, rng, share)
    for i in hit:
        lines[i] = b""
    return Damaged(b"".join(lines), {"missing": len(hit)})


def lose_run(stream: bytes, *, rng: Rng, samples: int) -> Damaged:
    """Lose one run of `samples` samples, as a stalled reader does."""
    lines = _lines(stream)
    safe = _safe(lines)
    at = int(rng.integers(0, max(1, len(safe) - samples)))
    gone = safe[at : at + samples]
    for i in gone:
        lines[i] = b""
    return Damaged(b"".join(lines), {"missing": len(gone)})


def garble(stream: bytes, *, rng: Rng, share: float) -> Damaged:
    """Change one byte in `share` of the samples; the checksum always notices one."""
    lines = _lines(stream)
    hit = _picked(lines, rng, share)
    for i in hit:
        lines[i] = _one_byte_changed(lines[i], rng)
    return Damaged(b"".join(lines), {"bad_lines": len(hit), "missing": len(hit)})


def cut_mid_line(stream: bytes, *, rng: Rng, times: int) -> Damaged:
    """Lose bytes from the middle of one line to the middle of the next, `times` times."""
    lines = _lines(stream)
    safe = set(_safe(lines))
    firsts = sorted(i for i in safe if i + 1 in safe)
    done = 0
    for i in _spread(firsts, rng, times):
        lines[i : i + 2] = [_joined(lines[i], lines[i + 1], rng), b""]
        done += 1
    return Damaged(b"".join(lines), {"bad_lines": done, "missing": 2 * done})


def noise_burst(stream: bytes, *, rng: Rng, times: int, longest: int = 60) -> Damaged:
    """Put bytes that mean nothing in front of a sample, half of them glued to it."""
    lines = _lines(stream)
    glued = 0
    hit = _spread(_safe(lines), rng, times)
    for i in hit:
        noise = _noise(rng, int(rng.integers(1, longest)))
        ends = bool(rng.random() < 0.5)
        lines[i] = noise + (b"\n" if ends else b"") + lines[i]
        glued += not ends
    return Damaged(b"".join(lines), {"bad_lines": len(hit), "missing": glued})


def duplicate(stream: bytes, *, rng: Rng, share: float) -> Damaged:
    """Send `share` of the samples twice."""
    lines = _lines(stream)
    hit = _picked(lines, rng, share)
    for i in hit:
        lines[i] *= 2
    return Damaged(b"".join(lines), {"duplicates": len(hit)})


def spikes(stream: bytes, *, rng: Rng, share: float, size_counts: int = 1 << 20) -> Damaged:
    """Throw single readings off by up to `size_counts`, under a good checksum."""
    lines = _lines(stream)
    hit = _picked(lines, rng, share)
    for i in hit:
        jump = int(rng.integers(size_counts // 4, size_counts)) * int(rng.choice([-1, 1]))
        lines[i] = _with_counts(lines[i], _sample(lines[i]).counts + jump)
    return Damaged(b"".join(lines), {"spikes": len(hit)})


def stuck_bits(stream: bytes, *, rng: Rng, share: float) -> Damaged:
    """Let the data line stick high: single codes of the form 2ᵏ − 1."""
    lines = _lines(stream)
    hit = _picked(lines, rng, share)
    for i in hit:
        code = (1 << int(rng.integers(1, 23))) - 1
        lines[i] = _with_counts(lines[i], code)
    return Damaged(b"".join(lines), {"stuck": len(hit)})


def saturate(stream: bytes, *, rng: Rng, samples: int, adc_bits: int = 24) -> Damaged:
    """Drive a run of samples to full scale; the device says so once."""
    lines = _lines(stream)
    safe = _safe(lines)
    at = int(rng.integers(0, max(1, len(safe) - samples)))
    run = safe[at : at + samples]
    code = (1 << (adc_bits - 1)) - 1 if rng.random() < 0.5 else -(1 << (adc_bits - 1))
    for i in run:
        lines[i] = _with_counts(lines[i], code)
    first = _sample(lines[run[0]])
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
    lines = _lines(stream)
    begin, end, silent, off_s = _silence(lines, at_share, silence_s)
    boot = f"{int(rng.integers(1, 1 << 16)):04X}"
    said = Renumber(boot=boot, first_t_us=int(rng.integers(200_000, 900_000)))
    hello = [_hello(lines, boot)] if announced else []
    quiet = [line for line in lines[begin:end] if line.startswith(_HOST)]
    after = [line if line.startswith(_HOST) else said(line) for line in lines[end:]]
    done: Ledger = {"restarts": 1, "swallowed": silent}
    whole = b"".join([*lines[:begin], *quiet, *hello, *after])
    return Damaged(whole, done, ((off_s, off_s + silence_s),))


def near_wrap(stream: bytes, *, rng: Rng, within_s: float = 30.0) -> Damaged:
    """Move clock and sequence so that both wrap within `within_s` of the start."""
    lines = _lines(stream)
    hello = next((d for d in map(decode_line, lines) if isinstance(d, Hello)), None)
    said = Renumber(
        boot=hello.boot if hello else "1",
        first_seq=SEQ_MOD - int(rng.integers(2, 500)),
        first_t_us=TICK_MOD - int(rng.uniform(0.2, 1.0) * within_s * 1e6),
    )
    moved = [line if line.startswith(_HOST) else said(line) for line in lines]
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


def _lines(stream: bytes) -> list[bytes]:
    whole = [line + b"\n" for line in stream.split(b"\n")]
    whole[-1] = whole[-1][:-1]
    return whole


def _is_sound(line: bytes) -> bool:
    if line[:2] != b"S," or line[-6:-5] != b"*":
        return False
    return b"%04X" % crc_hqx(line[:-6], 0) == line[-5:-1]


def _safe(lines: Sequence[bytes]) -> list[int]:
    """Indices of the sound samples away from both ends of their boot."""
    safe: list[int] = []
    for boot in _boots(lines):
        safe += boot[_EDGE:-_EDGE]
    return safe


def _boots(lines: Sequence[bytes]) -> Iterator[list[int]]:
    """Indices of the sound samples of one boot after the other."""
    boot: list[int] = []
    before_us = 0
    for i, line in enumerate(lines):
        if line.startswith(b"H,"):
            yield boot
            boot = []
        elif _is_sound(line):
            t_us = int(line.split(b",")[2])
            if boot and (t_us - before_us) % TICK_MOD > TICK_MOD // 2:  # the clock went back
                yield boot
                boot = []
            before_us = t_us
            boot.append(i)
    yield boot


def _picked(lines: Sequence[bytes], rng: Rng, share: float) -> list[int]:
    safe = _safe(lines)
    return [i for i, draw in zip(safe, rng.random(len(safe)), strict=True) if draw < share]


def _spread(places: Sequence[int], rng: Rng, times: int) -> list[int]:
    """At most `times` of `places`, no two next to each other."""
    chosen = sorted(rng.choice(len(places), min(times, len(places)), replace=False).tolist())
    apart = [c for n, c in enumerate(chosen) if n == 0 or places[c] - places[chosen[n - 1]] > 2]
    return [places[c] for c in apart]


def _one_byte_changed(line: bytes, rng: Rng) -> bytes:
    at = int(rng.integers(0, len(line) - 1))
    others = [b for b in range(256) if b not in (line[at], 0x0A)]
    return line[:at] + bytes([int(rng.choice(others))]) + line[at + 1 :]


def _joined(first: bytes, second: bytes, rng: Rng) -> bytes:
    """The first half or so of one line and the end of the next, glued."""
    head = first[: int(rng.integers(len(first) // 2, len(first) - 5))]
    glued = head + second[int(rng.integers(1, len(second) // 2)) :]
    return glued if not _is_sound(glued) else head[:-1] + second[1:]


def _noise(rng: Rng, size: int) -> bytes:
    """Bytes that a line is not made of: the upper half, as a wrong baud rate gives."""
    return bytes(rng.integers(0x80, 0x100, size).astype("uint8"))


def _sample(line: bytes) -> Sample:
    sample = decode_line(line)
    if not isinstance(sample, Sample):
        raise ValueError(f"not a sound sample: {line!r}")
    return sample


def _with_counts(line: bytes, counts: int) -> bytes:
    sample = _sample(line)
    return sample_line(sample.seq, sample.t_us, counts)


def _silence(
    lines: Sequence[bytes], at_share: float, silence_s: float
) -> tuple[int, int, int, float]:
    """(first line of the silence, first after it, samples swallowed, when it begins)."""
    safe = _safe(lines)
    later = safe[int(at_share * (len(safe) - 1)) :]
    from_us = _sample(lines[later[0]]).t_us
    swallowed = list(takewhile(lambda i: _since_s(lines[i], from_us) < silence_s, later))
    first_us = next(_sample(line).t_us for line in lines if _is_sound(line))
    return later[0], swallowed[-1] + 1, len(swallowed), _since_s(lines[later[0]], first_us)


def _since_s(line: bytes, from_us: int) -> float:
    return (_sample(line).t_us - from_us) % TICK_MOD / 1e6


def _hello(lines: Sequence[bytes], boot: str) -> bytes:
    for line in lines:
        hello = decode_line(line)
        if isinstance(hello, Hello):
            return encode(hello._replace(boot=boot))
    raise ValueError("a restart is announced as the first start was, and none was found")
