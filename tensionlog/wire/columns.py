"""Many lines at one go: what has a sample's form is read in columns, the rest line by line.

`decode_line` says what a line is. Here only such lines are taken for samples as it would
take, and it is asked about every other one.

Strategy. Between the digits of a sample's line stand an S, three commas, perhaps a minus,
and a star: where these lie is the whole form. A number is read eight digits at a time,
as one word and three multiplications. A CRC that begins with 0 is linear: it is the XOR
of what each pair of bytes gives by its value and its distance from the end.

This module needs numpy, which takes longer to load than a short answer may take: it is
imported where it is used.
"""

from binascii import crc_hqx
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tensionlog.model.columns import Columns, Other
from tensionlog.wire.lines import MAX_COUNTS, MAX_SEQ, MAX_T_US, decode_line

_Places = NDArray[np.int64]
_Flags = NDArray[np.bool_]

_WORD = 8
_BODY_WORDS = 4  # the longest body, `S,65535,4294967295,-2147483648`, has 30 bytes
_LEAD = bytes(_BODY_WORDS * _WORD)  # no word before a line's end begins before the text
_TAIL = b",,,,,,"  # so that marks after the last line may be asked for
_CHECKSUM_BYTES = len(b"*E6F7")
_LF, _CR, _MINUS, _STAR, _ZERO = b"\n\r-*0"
_SAMPLE_MARKS = np.frombuffer(b"S,,,", "<u4")[0]
_SEQ_DIGITS, _MOST_DIGITS = 5, 10

# The last n bytes of a word whose first byte is its lowest.
_LAST_BYTES = np.array([0, *((1 << 64) - (1 << 8 * (8 - n)) for n in range(1, 9))], np.uint64)
_JOIN_DIGITS = tuple(
    (np.uint64(mask), np.uint64(factor), np.uint64(shift))
    for mask, factor, shift in (
        (0x0F0F0F0F0F0F0F0F, 10 * 2**8 + 1, 8),
        (0x00FF00FF00FF00FF, 100 * 2**16 + 1, 16),
        (0x0000FFFF0000FFFF, 10_000 * 2**32 + 1, 32),
    )
)


class _Lines(NamedTuple):
    """Lines that have a sample's form, as places in the text, each of shape (n,)."""

    start: _Places
    seq_end: _Places
    t_end: _Places
    is_negative: _Flags
    star: _Places

    def only(self, rows: _Places) -> "_Lines":
        """Some of the lines."""
        return _Lines(
            start=self.start[rows],
            seq_end=self.seq_end[rows],
            t_end=self.t_end[rows],
            is_negative=self.is_negative[rows],
            star=self.star[rows],
        )


def columns(block: bytes, *, begin: int = 0) -> Columns:
    """Decode whole lines, each with its LF.

    Args:
        block: The lines.
        begin: Where `block` begins in the bytes that were fed.
    """
    text = b"".join((_LEAD, block, _TAIL))
    raw = np.frombuffer(text, np.uint8)
    lf, starts, rows, lines = _shaped(raw)
    seq, seq_good = _number(text, raw, lines.start + 2, lines.seq_end, most=_SEQ_DIGITS)
    t_us, t_good = _number(text, raw, lines.seq_end + 1, lines.t_end, most=_MOST_DIGITS)
    sign_end = lines.t_end + 1 + lines.is_negative
    size, size_good = _number(text, raw, sign_end, lines.star, most=_MOST_DIGITS)
    counts = np.where(lines.is_negative, -size, size)
    good = seq_good & t_good & size_good & (seq <= MAX_SEQ) & (t_us <= MAX_T_US)
    good &= (size <= MAX_COUNTS + lines.is_negative) & ~(lines.is_negative & (size == 0))
    good &= _checksum_holds(text, lines.start, lines.star)
    if not good.all():
        seq, t_us, counts, rows = seq[good], t_us[good], counts[good], rows[good]
    ends = lf + (1 + begin - len(_LEAD))
    return Columns(seq, t_us, counts, ends[rows], _others(text, starts, lf, ends, rows))


def _shaped(raw: NDArray[np.uint8]) -> tuple[_Places, _Places, _Places, _Lines]:
    """LF and start of every line, which lines have a sample's form, and where these part."""
    at = np.flatnonzero(raw - np.uint8(_ZERO) > 9)  # all that is no digit
    kind = raw.take(at)
    last = np.flatnonzero(kind == _LF)
    first = np.concatenate([[len(_LEAD)], last[:-1] + 1])[: len(last)]
    lf = at.take(last)
    start = np.concatenate([[len(_LEAD)], lf[:-1] + 1])[: len(lf)]
    t_end, after = at.take(first + 3), at.take(first + 4)
    is_negative = (kind.take(first + 4) == _MINUS) & (after == t_end + 1)
    star = np.where(is_negative, at.take(first + 5), after)
    shaped = _gathered(kind.tobytes(), first, 4) == _SAMPLE_MARKS
    shaped &= (at.take(first) == start) & (at.take(first + 1) == start + 1)
    shaped &= raw.take(star) == _STAR
    shaped &= lf - star - (raw.take(lf - 1) == _CR) == _CHECKSUM_BYTES
    rows = np.flatnonzero(shaped)
    lines = _Lines(start, at.take(first + 2), t_end, is_negative, star)
    if len(rows) < len(lf):
        lines = lines.only(rows)
    return lf, start, rows, lines


def _number(
    text: bytes, raw: NDArray[np.uint8], begin: _Places, end: _Places, *, most: int
) -> tuple[_Places, _Flags]:
    """The numbers whose digits stand from `begin` to `end`, and which are written soundly."""
    length = end - begin
    value = _digits(text, end, length)
    if most > _WORD and len(length) and length.max() > _WORD:
        value += 10**_WORD * _digits(text, end - _WORD, length - _WORD)
    sound = (length == 1) | ((length > 1) & (length <= most) & (raw.take(begin) != _ZERO))
    return value, sound


def _digits(text: bytes, end: _Places, length: _Places) -> _Places:
    """Value of the last `length` digits before `end`, eight at most."""
    word = _gathered(text, end - _WORD, _WORD) & _LAST_BYTES.take(length, mode="clip")
    for mask, factor, shift in _JOIN_DIGITS:
        word = (word & mask) * factor >> shift
    return word.astype(np.int64)


def _checksum_holds(text: bytes, start: _Places, star: _Places) -> _Flags:
    """Whether the four hex digits behind the star are the CRC of what stands before it."""
    crc = np.zeros(len(start), np.uint16)
    left = star - start
    for nearer in range(_BODY_WORDS):
        end = star - nearer * _WORD
        word = _gathered(text, end - _WORD, _WORD)
        word &= _LAST_BYTES.take(left - nearer * _WORD, mode="clip")
        pairs = word.view("<u2").reshape(-1, 4).astype(np.intp)
        for place in range(4):
            crc ^= _crc_of_pair(4 * nearer + 3 - place).take(pairs[:, place])
    high, low = _hex_of_byte().take(crc >> 8), _hex_of_byte().take(crc & 0xFF)
    stated: NDArray[np.unsignedinteger] = _gathered(text, star + 1, 4)
    holds: _Flags = stated == high | low << np.uint32(16)
    return holds


def _gathered(text: bytes, places: _Places, n: int) -> NDArray[np.unsignedinteger]:
    """The `n` bytes (4 or 8) at each place as one little-endian number."""
    pieces = np.ndarray((len(text) - n + 1,), f"S{n}", text, strides=(1,))
    return pieces[places].view(f"<u{n}")


@cache
def _crc_of_pair(after: int) -> NDArray[np.uint16]:
    """What two bytes with `after` pairs behind them give the CRC; ASCII, the first one low."""
    if after:  # a CRC goes on over two more bytes as if it were these two itself
        return _crc_of_two_bytes().take(_crc_of_pair(after - 1))
    return _crc_of_two_bytes().reshape(256, 256)[:, :128].T.reshape(-1)


@cache
def _crc_of_two_bytes() -> NDArray[np.uint16]:
    """CRC-16/XMODEM of two bytes, the first one in the high place."""
    crc = np.array([crc_hqx(bytes([byte]), 0) for byte in range(256)], np.uint16)
    byte = np.arange(256)
    both: NDArray[np.uint16] = (crc << 8)[:, None] ^ crc[(crc >> 8)[:, None] ^ byte]
    return both.reshape(-1)


@cache
def _hex_of_byte() -> NDArray[np.uint32]:
    """Two upper-case hex digits of each byte as a little-endian number."""
    return np.frombuffer(bytes(range(256)).hex().upper().encode(), "<u2").astype(np.uint32)


def _others(
    text: bytes, starts: _Places, lf: _Places, ends: _Places, rows: _Places
) -> list[Other]:
    """The lines that are no sound samples, asked about one by one."""
    if len(rows) == len(lf):
        return []
    is_other = np.ones(len(lf), np.bool_)
    is_other[rows] = False
    which = np.flatnonzero(is_other)
    before = np.searchsorted(rows, which)
    return [
        Other(n, end, decode_line(text[start : stop + 1]))
        for n, end, start, stop in zip(
            before.tolist(),
            ends[which].tolist(),
            starts[which].tolist(),
            lf[which].tolist(),
            strict=True,
        )
    ]
