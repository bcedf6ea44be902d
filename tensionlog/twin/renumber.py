"""The same lines, said by a device that has started anew."""

from tensionlog.model.lines import Event, Fault, Hello, Sample
from tensionlog.twin.device import SEQ_MOD, TICK_MOD, sample_line
from tensionlog.wire import decode_line, encode


class Renumber:
    """Number lines as if the first sample met were the first after a start.

    Samples keep the gaps between them, in number and in time. `last` is (sequence number,
    clock) of the latest sample said.
    """

    def __init__(self, *, boot: str, first_seq: int = 0, first_t_us: int = 350_000) -> None:
        """Start as `boot`, with `first_seq` and `first_t_us` at the first sample met."""
        self.boot = boot
        self.last = (first_seq, first_t_us)
        self._first = self.last
        self._shift: tuple[int, int] | None = None

    @property
    def has_said(self) -> bool:
        """Whether a sample has been said."""
        return self._shift is not None

    def __call__(self, line: bytes) -> bytes:
        """Return `line` (LF included) as this start would say it.

        What is not a sound line of the wire comes back as it is; of the lines that carry
        a number, those before the first sample do too.
        """
        if line.startswith(b"S,"):
            return self._sample(line)
        match decode_line(line):
            case Hello() as hello:
                return encode(hello._replace(boot=self.boot))
            case Event() | Fault() as stamped if self._shift is not None:
                seq, t_us = self._moved(stamped.seq, stamped.t_us)
                return encode(stamped._replace(seq=seq, t_us=t_us))
        return line

    def _sample(self, line: bytes) -> bytes:
        sample = decode_line(line)
        if not isinstance(sample, Sample):
            return line
        if self._shift is None:
            seq, t_us = self._first
            self._shift = seq - sample.seq, t_us - sample.t_us
        self.last = self._moved(sample.seq, sample.t_us)
        return sample_line(*self.last, sample.counts)

    def _moved(self, seq: int, t_us: int) -> tuple[int, int]:
        assert self._shift is not None
        return (seq + self._shift[0]) % SEQ_MOD, (t_us + self._shift[1]) % TICK_MOD
