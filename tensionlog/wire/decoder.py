"""A stream of bytes, cut anywhere, to device lines.

Nearly every line is a sample, so runs of lines that have a sample's form are decoded
column by column, and everything else by `decode_line`. The result is the same as line by
line; only the speed is not.
"""

import re
from binascii import crc_hqx
from functools import partial
from itertools import repeat

from tensionlog.model.lines import BadLine, DeviceLine, Sample
from tensionlog.wire.lines import KEPT_BYTES, MAX_COUNTS, MAX_SEQ, MAX_T_US, decode_line
from tensionlog.wire.splitter import LineSplitter

# At most 512 lines, so that all their columns stay in the processor's cache.
_RUN_OF_SAMPLES = re.compile(
    rb"(?:S,(?:[1-9][0-9]{0,4}+|0),(?:[1-9][0-9]{0,9}+|0),(?:-?[1-9][0-9]{0,9}+|0)"
    rb"\*[0-9A-F]{4}\r?\n){1,512}+"
)
_SAMPLE_LINES = re.compile(
    rb"^(S,([1-9][0-9]{0,4}|0),([1-9][0-9]{0,9}|0),(-?[1-9][0-9]{0,9}|0))"
    rb"\*([0-9A-F]{4})\r?\n",
    re.MULTILINE,
)
_TO_COMMAS = bytes.maketrans(b"*\n", b",,")
_SHORT_BYTES = 256  # below that, columns cost more than they save
_CHECKSUM_BYTES = len(b"*E6F7")
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
    decoded: list[DeviceLine] = []
    at = 0
    while at < len(block):
        run = _RUN_OF_SAMPLES.match(block, at)
        if run:
            decoded += _samples(run[0])
            at = run.end()
        else:
            end = block.index(b"\n", at) + 1
            decoded.append(decode_line(block[at:end]))
            at = end
    return decoded


def _decode_few(block: bytes) -> list[DeviceLine]:
    """Decode a few lines: at one go where all are sound samples, else one by one."""
    decoded: list[DeviceLine] = []
    for body, seq, t_us, counts, checksum in _SAMPLE_LINES.findall(block):
        sample = (int(seq), int(t_us), int(counts))
        in_range = sample[0] <= MAX_SEQ and sample[1] <= MAX_T_US and _fits([sample[2]])
        if not in_range or crc_hqx(body, 0) != int(checksum, 16):
            break
        decoded.append(_new_sample(sample))
    if len(decoded) == block.count(b"\n"):
        return decoded
    return [decode_line(line) for line in block.split(b"\n")[:-1]]


def _samples(run: bytes) -> list[DeviceLine]:
    """Decode lines that all have the form of a sample, column by column."""
    lines = run.split(b"\n")
    del lines[-1]
    fields = run.translate(_TO_COMMAS).split(b",")
    seqs, times_us, counts = (list(map(int, fields[column::5])) for column in (1, 2, 3))
    if max(seqs) > MAX_SEQ or max(times_us) > MAX_T_US or not _fits(counts):
        return list(map(decode_line, lines))
    decoded: list[DeviceLine] = list(map(_new_sample, zip(seqs, times_us, counts, strict=True)))
    stated = list(map(int, fields[4::5], repeat(16)))  # int() passes over a CR
    found = list(map(crc_hqx, _bodies(lines, b"\r" in run), repeat(0)))
    if found != stated:
        for row, pair in enumerate(zip(found, stated, strict=True)):
            if pair[0] != pair[1]:
                decoded[row] = decode_line(lines[row])
    return decoded


def _fits(counts: list[int]) -> bool:
    return max(counts) <= MAX_COUNTS and min(counts) >= -MAX_COUNTS - 1


def _bodies(lines: list[bytes], with_cr: bool) -> list[bytes]:
    """What the checksums are over."""
    if with_cr:
        return [line[: line.index(b"*")] for line in lines]
    return [line[:-_CHECKSUM_BYTES] for line in lines]
