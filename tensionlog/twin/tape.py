"""The lines of a stream as damage sees them: which are the host's, which may be hit."""

from binascii import crc_hqx
from collections.abc import Iterator, Sequence

from tensionlog.model.lines import Sample
from tensionlog.twin.device import TICK_MOD, sample_line
from tensionlog.twin.rng import Rng
from tensionlog.wire import decode_line

HOST_MARKS = (b"# ", b"@ ", b"! ")
"""How the host's own lines in a recording begin."""

_EDGE = 3
"""Samples left alone at either end of a boot."""


def lines_of(stream: bytes) -> list[bytes]:
    """The lines, LF included; joined they are the stream again."""
    whole = [line + b"\n" for line in stream.split(b"\n")]
    whole[-1] = whole[-1][:-1]
    return whole


def is_sound(line: bytes) -> bool:
    """Whether `line`, LF included, is a sample whose checksum holds."""
    if line[:2] != b"S," or line[-6:-5] != b"*":
        return False
    return b"%04X" % crc_hqx(line[:-6], 0) == line[-5:-1]


def safe_samples(lines: Sequence[bytes]) -> list[int]:
    """Indices of the sound samples, said once, away from both ends of their boot."""
    safe: list[int] = []
    for boot in _boots(lines):
        said = [b"", *(lines[i] for i in boot), b""]
        once = [a != b != c for a, b, c in zip(said, said[1:], said[2:], strict=False)]
        safe += [i for i, alone in zip(boot, once, strict=True) if alone][_EDGE:-_EDGE]
    return safe


def _boots(lines: Sequence[bytes]) -> Iterator[list[int]]:
    """Indices of the sound samples of one boot after the other."""
    boot: list[int] = []
    before_us = 0
    for i, line in enumerate(lines):
        if line.startswith(b"H,"):
            yield boot
            boot = []
        elif is_sound(line):
            t_us = int(line.split(b",")[2])
            if boot and (t_us - before_us) % TICK_MOD > TICK_MOD // 2:  # the clock went back
                yield boot
                boot = []
            before_us = t_us
            boot.append(i)
    yield boot


def picked(lines: Sequence[bytes], rng: Rng, share: float) -> list[int]:
    """Indices of about `share` of the samples that may be hit."""
    safe = safe_samples(lines)
    return [i for i, draw in zip(safe, rng.random(len(safe)), strict=True) if draw < share]


def spread(places: Sequence[int], rng: Rng, times: int) -> list[int]:
    """At most `times` of `places`, no two next to each other."""
    chosen = sorted(rng.choice(len(places), min(times, len(places)), replace=False).tolist())
    apart = [c for n, c in enumerate(chosen) if n == 0 or places[c] - places[chosen[n - 1]] > 2]
    return [places[c] for c in apart]


def sample_at(line: bytes) -> Sample:
    """What a sound sample's line says."""
    sample = decode_line(line)
    if not isinstance(sample, Sample):
        raise ValueError(f"not a sound sample: {line!r}")
    return sample


def with_counts(line: bytes, counts: int) -> bytes:
    """The same sample with another reading, under a good checksum."""
    sample = sample_at(line)
    return sample_line(sample.seq, sample.t_us, counts)


def since_s(line: bytes, from_us: int) -> float:
    """Device seconds from `from_us` to the sample in `line`."""
    return (sample_at(line).t_us - from_us) % TICK_MOD / 1e6
