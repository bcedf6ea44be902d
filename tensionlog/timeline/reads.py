"""Reads of the port: when each came, and what that tells of the two clocks."""

from collections.abc import Mapping
from typing import Protocol

from tensionlog.timeline.host_tie import HostTie
from tensionlog.timeline.tally import Tally

_LONGEST_BURST_S = 30.0  # no terminal's buffer holds so many samples


class Followed(Protocol):
    """A device as far as its reads are concerned."""

    @property
    def tally(self) -> Tally:
        """What was counted so far."""

    @property
    def boot(self) -> int:
        """Which start of the device is on."""

    @property
    def here_s(self) -> float:
        """Device time of the latest sample of this boot, 0 before its first."""

    @property
    def period_s(self) -> float:
        """Device time from one conversion to the next."""

    @property
    def last_s(self) -> Mapping[int, float]:
        """Device time of the latest sample of each boot that has one."""


class Reads:
    """Ties the last sample of each read to the time it came.

    Attributes:
        at_s: Host time (UTC, s) of the read that is on, or None where none was noted.
        tie: What the ties add up to.
    """

    def __init__(self, device: Followed) -> None:
        self.at_s: float | None = None
        self.tie = HostTie()
        self._device = device
        self._from = (0, 0.0, 0)  # boot, device time and samples as the read began

    def arrived(self, at_s: float) -> None:
        """Say that what comes from now on was read at host time `at_s` (UTC, s)."""
        self.settle()
        self.begin(at_s)

    def begin(self, at_s: float) -> None:
        """The same, where the read before is settled."""
        device = self._device
        self.at_s = at_s
        self._from = (device.boot, device.here_s, device.tally.samples)

    def settle(self) -> None:
        """Tie what the read that is on has given so far."""
        if self.at_s is None:
            return
        device = self._device
        boot, from_s, samples = self._from
        taken = device.tally.samples - samples
        if taken == 0:
            return
        if taken * device.period_s > _LONGEST_BURST_S:
            self.tie.add(boot, from_s + device.period_s if samples else 0.0, self.at_s)
            return
        if device.boot == boot:
            self.tie.add(boot, device.here_s, self.at_s)
            return
        for number, last_s in device.last_s.items():
            if number > boot or (number == boot and last_s != from_s):
                self.tie.add(number, last_s, self.at_s)
