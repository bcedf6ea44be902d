"""The device and the host that writes down what it says: lines, chunks, a recording."""

import binascii
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from tensionlog.twin.rng import Rng

SEQ_MOD = 1 << 16
TICK_MOD = 1 << 32
Note = dict[str, Any]


def sealed(body: bytes) -> bytes:
    """Return `body` as a line of the wire: its CRC after a star, then LF.

    >>> sealed(b"S,0,0,5")
    b'S,0,0,5*89C3\\n'
    """
    return b"%b*%04X\n" % (body, binascii.crc_hqx(body, 0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """A microcontroller with its clock.

    Attributes:
        device: Its own id.
        firmware: What it calls its firmware.
        rate_hz: Rate it says it samples at.
        true_rate_hz: Rate at which it does.
        ppm: Error of its clock, parts per million; positive runs fast.
        boot: Names this start.
        first_seq: Sequence number of the first sample.
        first_t_us: Its clock at the first sample.
        jitter_us: Standard deviation of the time stamp.
    """

    device: str = "twin-0001"
    firmware: str = "twin-bench 1"
    rate_hz: float = 80.0
    true_rate_hz: float = 80.0
    ppm: float = 0.0
    boot: str = "1"
    first_seq: int = 0
    first_t_us: int = 0
    jitter_us: float = 4.0

    def seconds(self, true_s: float) -> float:
        """Device seconds from the first sample at `true_s` true seconds from it."""
        return true_s * (1.0 + self.ppm * 1e-6)

    def hello(self, adc_bits: int) -> bytes:
        """Return the identity line."""
        rate = f"{self.rate_hz:g}"
        fields = f"H,1,{self.device},{self.firmware},{rate},{adc_bits},{self.boot}"
        return sealed(fields.encode())


class Said(NamedTuple):
    """Everything the device sent, line by line.

    Attributes:
        t_s: True time at which each line was ready, seconds from the first sample.
        lines: The lines, LF included.
    """

    t_s: NDArray[np.float64]
    lines: list[bytes]


def sample_lines(
    *, seq: Sequence[int], t_us: Sequence[int], counts: Sequence[int]
) -> list[bytes]:
    """Return one S line per sample."""
    crc = binascii.crc_hqx
    bodies = [b"S,%d,%d,%d" % row for row in zip(seq, t_us, counts, strict=True)]
    return [b"%b*%04X\n" % (body, crc(body, 0)) for body in bodies]


def ticks_us(rng: Rng, *, device: Device, t_s: NDArray[np.float64]) -> NDArray[np.int64]:
    """Device clock at `t_s`, before it wraps; never backwards."""
    exact = t_s * (1.0 + device.ppm * 1e-6) * 1e6
    jitter = rng.standard_normal(len(t_s)) * device.jitter_us
    jitter[:1] = 0.0
    return np.asarray(np.rint(exact + jitter).astype(np.int64) + device.first_t_us)


def say(
    rng: Rng,
    *,
    device: Device,
    t_s: NDArray[np.float64],
    counts: NDArray[np.int64],
    adc_bits: int,
    events: Iterable[tuple[float, str]] = (),
) -> Said:
    """Turn conversions and worked buttons into lines of the wire."""
    ticks = ticks_us(rng, device=device, t_s=t_s)
    seq = (device.first_seq + np.arange(len(t_s))) % SEQ_MOD
    lines = sample_lines(
        seq=seq.tolist(), t_us=(ticks % TICK_MOD).tolist(), counts=counts.tolist()
    )
    times = [float(t_s[0]) - 0.001, *t_s.tolist()]
    lines.insert(0, device.hello(adc_bits))
    for at_s, name in sorted(events, reverse=True):
        i = max(0, int(np.searchsorted(t_s, at_s)) - 1)
        t_us = (device.first_t_us + round(device.seconds(at_s) * 1e6)) % TICK_MOD
        lines.insert(i + 2, sealed(b"E,%d,%d,%b" % (seq[i], t_us, name.encode())))
        times.insert(i + 2, at_s)
    return Said(np.asarray(times), lines)


def say_plain(
    rng: Rng, *, t_s: NDArray[np.float64], forces: NDArray[np.float64], decimals: int
) -> Said:
    """Turn readings into lines of somebody else's sketch (`w=123.4 t=5678`)."""
    start_ms = int(rng.integers(1500, 9000))
    ms = np.rint(t_s * 1000.0).astype(np.int64) + start_ms
    text = [
        f"w={force:.{decimals}f} t={at}\r\n".encode()
        for force, at in zip(forces.tolist(), ms.tolist(), strict=True)
    ]
    return Said(np.concatenate([[t_s[0] - 0.001], t_s]), [b"scale ready\r\n", *text])


class Host(NamedTuple):
    """The computer that writes down.

    Attributes:
        started: UTC time at which the recording was opened.
        opens_s: Seconds from there to the first sample.
        read_every_s: How often it reads the port.
        stalls_per_min: How often it is held up for a moment.
    """

    started: datetime
    opens_s: float = 0.25
    read_every_s: float = 0.1
    stalls_per_min: float = 0.5

    def stamp(self, true_s: float) -> str:
        """Host time, as text, at `true_s` true seconds from the first sample."""
        at = self.started + timedelta(seconds=self.opens_s + true_s)
        return at.strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def chunked(rng: Rng, *, host: Host, said: Said) -> list[tuple[float, bytes]]:
    """Cut what was said into the reads that fetched it: (true time of the read, bytes)."""
    end = float(said.t_s[-1])
    gaps = host.read_every_s * rng.uniform(0.6, 1.4, int(end / host.read_every_s * 1.3) + 4)
    held_up = rng.random(len(gaps)) < host.stalls_per_min / 60.0 * host.read_every_s
    gaps[held_up] += rng.uniform(0.2, 0.9, int(held_up.sum()))
    reads = float(said.t_s[0]) + np.cumsum(gaps)
    cuts = np.searchsorted(said.t_s, reads[reads < end + 2.0])
    late = 0.001 + rng.exponential(0.003, len(cuts))
    chunks, begin = [], 0
    for cut, read_s, extra in zip(cuts.tolist(), reads.tolist(), late.tolist(), strict=False):
        if cut > begin:
            chunks.append((read_s + extra, b"".join(said.lines[begin:cut])))
            begin = cut
    if begin < len(said.lines):
        chunks.append((end + host.read_every_s, b"".join(said.lines[begin:])))
    return chunks


def recording(
    *,
    host: Host,
    header: Mapping[str, Any],
    chunks: Iterable[tuple[float, bytes]],
    notes: Iterable[tuple[float, Note]],
) -> bytes:
    """Write the whole file: header, arrivals, bytes as they came, notes in their place."""
    pieces = [b"# tensionlog-recording 1\n", b"# " + json.dumps(header).encode() + b"\n"]
    waiting = sorted(notes, key=lambda item: item[0])
    for at_s, chunk in chunks:
        while waiting and waiting[0][0] <= at_s:
            pieces.append(note_line(host, *waiting.pop(0)))
        pieces.append(b"@ %b\n%b" % (host.stamp(at_s).encode(), chunk))
        if not chunk.endswith(b"\n"):
            pieces.append(b"~\n")
    pieces += [note_line(host, *item) for item in waiting]
    return b"".join(pieces)


def note_line(host: Host, at_s: float, note: Note) -> bytes:
    """Return one `!` line."""
    return b"! " + json.dumps({"at": host.stamp(at_s), **note}).encode() + b"\n"
