"""One line of the wire, both ways.

    <kind>,<field>,…*<CRC>

The CRC stands after the last `*`, so free text may hold one. Reading is strict (no plus
sign, no leading zero, four upper-case digits): whatever `encode` would not have written
is damage that happened to keep its checksum.
"""

import re
from binascii import crc_hqx
from collections.abc import Callable

from tensionlog.model.lines import (
    BadLine,
    Comment,
    DeviceLine,
    Event,
    Fault,
    Hello,
    Sample,
    UnknownLine,
)

MAX_LINE_BYTES = 96
"""Longest line, without its LF and a CR before it."""

KEPT_BYTES = 128
"""Of a line that is too long only the beginning is kept, so that a flood cannot fill memory."""

MAX_SEQ = 0xFFFF
MAX_T_US = 0xFFFF_FFFF
MAX_COUNTS = 0x7FFF_FFFF  # the widest converter in use has 32 bits

_NATURAL = r"0|[1-9][0-9]{0,9}"
_SAMPLE = re.compile(
    rb"(S,([1-9][0-9]{0,4}|0),([1-9][0-9]{0,9}|0),(-?[1-9][0-9]{0,9}|0))\*([0-9A-F]{4})"
)
_STAMPED = re.compile(rf"({_NATURAL}),({_NATURAL}),([^,]+)")
_HELLO = re.compile(
    rf"({_NATURAL}),([^,]+),([^,]*),((?:{_NATURAL})(?:\.[0-9]+)?),({_NATURAL}),([^,]+)"
)
_CHECKSUM = re.compile(rb"[0-9A-F]{4}")
_TEXT = re.compile(rb"[\t\x20-\x7e]*")


def encode(line: DeviceLine) -> bytes:
    r"""Write `line` as the device would, LF included.

    Raises:
        ValueError: The wire has no way to say it (a comma in a name, a number out of
            range, more than 96 bytes), or it belongs to the plain dialect.

    >>> encode(Sample(0, 4293999990, 84122))
    b'S,0,4293999990,84122*E6F7\n'
    """
    if isinstance(line, UnknownLine | BadLine):
        return line.raw + b"\n"
    body = _body(line).encode("ascii", "replace")
    raw = b"%s*%04X\n" % (body, crc_hqx(body, 0))
    if decode_line(raw) != line:
        raise ValueError(f"the wire cannot say {line!r}")
    return raw


def _body(line: DeviceLine) -> str:
    match line:
        case Sample(seq, t_us, counts):
            return f"S,{seq},{t_us},{counts}"
        case Event(seq, t_us, name):
            return f"E,{seq},{t_us},{name}"
        case Fault(seq, t_us, fault):
            return f"F,{seq},{t_us},{fault}"
        case Comment(text):
            return f"K,{text}"
        case Hello(proto, device, firmware, rate_hz, adc_bits, boot):
            rate = repr(rate_hz).removesuffix(".0")
            return f"H,{proto},{device},{firmware},{rate},{adc_bits},{boot}"
    raise ValueError(f"the wire cannot say {line!r}")


def decode_line(raw: bytes) -> DeviceLine:
    r"""Read one line, with or without its LF.

    Never raises: what is not sound comes back as a `BadLine`.

    >>> decode_line(b"S,0,4293999990,84122*E6F7\r\n")
    Sample(seq=0, t_us=4293999990, counts=84122)
    >>> decode_line(b"S,0,4293999990,84123*E6F7\n").why
    'crc'
    """
    line = raw.removesuffix(b"\n")
    content = line.removesuffix(b"\r")
    if len(content) > MAX_LINE_BYTES:
        return BadLine(line[:KEPT_BYTES], "too-long")
    sample = _sample(content)
    if sample:
        return sample
    body, star, checksum = content.rpartition(b"*")
    if not star or not _CHECKSUM.fullmatch(checksum):
        return BadLine(line, "form")
    if crc_hqx(body, 0) != int(checksum, 16):
        return BadLine(line, "crc")
    return _sound(body, content) or BadLine(line, "form")


def _sound(body: bytes, content: bytes) -> DeviceLine | None:
    """The line whose checksum holds, or None if its fields say nothing allowed."""
    if not _TEXT.fullmatch(body):
        return None
    kind, comma, fields = body.decode("ascii").partition(",")
    read = _KINDS.get(kind)
    if read:
        return read(fields) if comma else None
    return UnknownLine(content) if kind else None


def _sample(content: bytes) -> Sample | None:
    """A sound sample, or None; the first thing tried, since nearly every line is one."""
    found = _SAMPLE.fullmatch(content)
    if not found:
        return None
    body, seq, t_us, counts, checksum = found.groups()
    if crc_hqx(body, 0) != int(checksum, 16):
        return None
    line = Sample(int(seq), int(t_us), int(counts))
    in_range = -MAX_COUNTS - 1 <= line.counts <= MAX_COUNTS
    return line if in_range and _in_time(line.seq, line.t_us) else None


def _no_sample(fields: str) -> None:
    """A line that says it is a sample, with a checksum that holds, and yet is none."""
    return None


def _event(fields: str) -> Event | None:
    stamped = _stamped(fields)
    return Event(*stamped) if stamped else None


def _fault(fields: str) -> Fault | None:
    stamped = _stamped(fields)
    return Fault(*stamped) if stamped else None


def _stamped(fields: str) -> tuple[int, int, str] | None:
    found = _STAMPED.fullmatch(fields)
    if not found or not _in_time(int(found[1]), int(found[2])):
        return None
    return int(found[1]), int(found[2]), found[3]


def _in_time(seq: int, t_us: int) -> bool:
    return seq <= MAX_SEQ and t_us <= MAX_T_US


def _hello(fields: str) -> Hello | None:
    found = _HELLO.fullmatch(fields)
    if not found:
        return None
    proto, device, firmware, rate_hz, adc_bits, boot = found.groups()
    return Hello(int(proto), device, firmware, float(rate_hz), int(adc_bits), boot)


_KINDS: dict[str, Callable[[str], DeviceLine | None]] = {
    "S": _no_sample,
    "H": _hello,
    "E": _event,
    "F": _fault,
    "K": Comment,
}
