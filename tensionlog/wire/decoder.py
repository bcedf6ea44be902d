"""A stream of bytes, cut anywhere, to device lines.

Nearly every line is a sample, so many lines at once are read in columns (`columns`), a few
by one expression, and everything else by `decode_line`. The result is the same as line
by line; only the speed is not.
"""

import re
from binascii import crc_hqx
from functools import partial
from typing import TYPE_CHECKING

from tensionlog.model.lines import BadLine, DeviceLine, Sample
from tensionlog.wire.lines import KEPT_BYTES, MAX_COUNTS, MAX_SEQ, MAX_T_US, decode_line
from tensionlog.wire.splitter import LineSplitter

if TYPE_CHECKING:
    from tensionlog.model.columns import Columns

_SAMPLE_LINES = re.compile(
    rb"^(S,([1-9][0-9]{0,4}|0),([1-9][0-9]{0,9}|0),(-?[1-9][0-9]{0,9}|0))"
    rb"\*([0-9A-F]{4})\r?\n",
    re.MULTILINE,
)
_SHORT_BYTES = 4096  # below that, columns cost more than they save
_new_sample = partial(tuple.__new__, Sample)  # a named tuple's own __new__ takes twice as long


class LineDecoder:
    r"""Turn a stream of bytes into device lines; every line is exactly one event.

    No byte is lost: `bytes_in_lines + pending_bytes == bytes_fed`, and cutting the
    stream elsewhere changes nothing.

    >>> decoder = LineDecoder()
    >>> decoder.feed(b"S,0,4293999990,8412")
    []
    >>> decoder.feed(b"2*E6F7\nS,1")
    [Sample(seq=0, t_us=4293999990, counts=84122)]
    >>> decoder.pending
    b'S,1'
    """

    def __init__(self) -> None:
        self._lines = LineSplitter(kept=KEPT_BYTES)

    @property
    def pending(self) -> bytes:
        """The line that has no LF yet, at most its first 128 bytes."""
        return self._lines.pending

    @property
    def pending_bytes(self) -> int:
        """Length of the line that has no LF yet."""
        return self._lines.pending_bytes

    @property
    def bytes_fed(self) -> int:
        """Bytes that came in."""
        return self._lines.bytes_fed

    @property
    def bytes_in_lines(self) -> int:
        """Bytes of the lines given out, LFs too."""
        return self._lines.bytes_in_lines

    def feed(self, data: bytes) -> list[DeviceLine]:
        """Add `data` and return every line that it completes, oldest first."""
        return _decode_block(self._lines.whole_lines(data))

    def columns(self, data: bytes) -> "Columns":
        """The same in columns, for bytes that come in big pieces."""
        from tensionlog.wire.columns import columns

        begin = -len(self._lines.pending)
        return columns(self._lines.whole_lines(data), begin=begin)

    def close(self) -> list[DeviceLine]:
        """Say that the stream has ended.

        A last line that lacks only its LF counts; any other piece is a torn tail, which
        is normal: it stays in `pending` and is nobody's bad line.
        """
        last = decode_line(self.pending)
        if isinstance(last, BadLine):
            return []
        self._lines.take_rest()
        return [last]


def _decode_block(block: bytes) -> list[DeviceLine]:
    """Decode whole lines, each with its LF."""
    if len(block) < _SHORT_BYTES:
        return _decode_few(block)
    from tensionlog.wire.columns import columns

    decoded = columns(block)
    rows = zip(
        decoded.seq.tolist(), decoded.t_us.tolist(), decoded.counts.tolist(), strict=True
    )
    samples: list[DeviceLine] = list(map(_new_sample, rows))
    for nth, other in enumerate(decoded.others):
        samples.insert(nth + other.before, other.line)
    return samples


def _decode_few(block: bytes) -> list[DeviceLine]:
    """Decode a few lines: at one go where all are sound samples, else one by one."""
    decoded: list[DeviceLine] = []
    for body, seq, t_us, counts, checksum in _SAMPLE_LINES.findall(block):
        sample = (int(seq), int(t_us), int(counts))
        in_range = sample[0] <= MAX_SEQ and sample[1] <= MAX_T_US
        in_range = in_range and -MAX_COUNTS - 1 <= sample[2] <= MAX_COUNTS
        if not in_range or crc_hqx(body, 0) != int(checksum, 16):
            break
        decoded.append(_new_sample(sample))
    if len(decoded) == block.count(b"\n"):
        return decoded
    return [decode_line(line) for line in block.split(b"\n")[:-1]]
