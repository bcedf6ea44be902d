"""Tests inside a sitting: morning check, head, hold test, turn and stiffness.

Their samples are kept whole, because they are read with knowledge of the whole test;
what loads the cell inside a test is not a pull of the job.
"""

from array import array
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from tensionlog.model.pull import Pull
from tensionlog.model.recording import Header, Note
from tensionlog.timeline import FaultSeen, Reading, Readings, Timeline

Floats = NDArray[np.float64]

STARTS = {
    "check-start": "check-end",
    "hold-start": "hold-end",
    "turn-start": "turn-end",
    "stiff-start": "stiff-end",
}

SPEEDS = ("slow", "fast")
"""How a pull of the head check may be asked for."""

MOST_SAMPLES = 6_000_000
"""Samples kept of tests: an hour at 1,280/s and more; what comes after is not kept."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tests:
    """Answers of the tests in a recording, in the pinned form; None where not made.

    Attributes:
        check: The first morning check.
        hold: The first hold test.
        holds: All of them.
        head: What each dial setting gave.
        turn: The first turn test.
        stiffness: The first stiffness test.
        calibration: A full calibration, see `check.calibrate.CalibrationResult.record`.
        problems: One line for each test that could not be measured.
    """

    check: dict[str, Any] | None = None
    hold: dict[str, Any] | None = None
    holds: tuple[dict[str, Any], ...] = ()
    head: list[dict[str, Any]] | None = None
    turn: dict[str, Any] | None = None
    stiffness: dict[str, Any] | None = None
    calibration: dict[str, Any] | None = None
    problems: tuple[str, ...] = ()


class Interval(NamedTuple):
    """A test's time in the recording: begin and end in seconds, and its first note."""

    begin_s: float
    end_s: float
    note: Note
    is_ended: bool


class Dialled(NamedTuple):
    """What the dial says, newtons, and how fast the pull was asked for (None: not said)."""

    set_n: float
    speed: str | None = None


class Windows:
    """Keeps the samples of tests, and knows when a test was on."""

    def __init__(self, header: Header) -> None:
        self.keeping = header.purpose in ("check", "hold")
        self.saturated: list[FaultSeen] = []
        self._boot = array("l")
        self._t = array("d")
        self._counts = array("d")

    def note_seen(self, name: str) -> None:
        """Begin to keep samples when a test begins."""
        if name in STARTS or name == "dial":
            self.keeping = True

    def push(self, reading: Reading) -> None:
        """Keep one reading."""
        if len(self._t) < MOST_SAMPLES:
            self._boot.append(reading.boot)
            self._t.append(reading.t_s)
            self._counts.append(reading.counts)

    def push_many(self, readings: Readings) -> None:
        """Keep many."""
        n = min(len(readings.t_s), MOST_SAMPLES - len(self._t))
        self._boot.extend([readings.boot] * n)
        self._t.extend(readings.t_s[:n].tolist())
        self._counts.extend(readings.counts[:n].tolist())

    def fault(self, event: FaultSeen) -> None:
        """Keep when the converter stood at its end."""
        if self.keeping and event.name == "saturated" and len(self.saturated) < MOST_SAMPLES:
            self.saturated.append(event)

    def samples(self, timeline: Timeline) -> tuple[Floats, Floats, NDArray[np.bool_]]:
        """All that was kept, in order of time.

        Returns:
            Seconds of the recording, raw readings, and which of them stood at the
            converter's end (those have no reading: 0), each of shape (n,).
        """
        faults = self.saturated
        at_end = np.array([(f.boot, f.t_s) for f in faults]).reshape(-1, 2)
        t = np.concatenate([np.array(self._t), at_end[:, 1]])
        boots = np.concatenate([np.array(self._boot), at_end[:, 0]])
        for boot in np.unique(boots):
            t[boots == boot] += timeline.seconds(int(boot), 0.0)
        counts = np.concatenate([np.array(self._counts), np.zeros(len(faults))])
        order = np.argsort(t, kind="stable")
        return t[order], counts[order], (np.arange(len(t)) >= len(self._t))[order]

    def is_test(self, t_s: float, notes: Sequence[tuple[float, Note]]) -> bool:
        """Whether something at `t_s` loads the cell that is not a pull by the head alone."""
        if not self.keeping or self.dialled(t_s, notes) is not None:
            return False
        return any(i.begin_s <= t_s <= i.end_s for i in intervals(notes))

    def dialled(self, t_s: float, notes: Sequence[tuple[float, Note]]) -> Dialled | None:
        """Dial setting in force at `t_s`, or None outside a head check."""
        dial = None
        for at_s, note in notes:
            if at_s > t_s:
                break
            if note.name == "dial":
                setting, speed = note.body.get("set_N"), note.body.get("speed")
                known = speed if speed in SPEEDS else None
                dial = None if setting is None else Dialled(float(setting), known)
            elif note.name in ("check-end", "load", *STARTS):
                dial = None
        return dial


def intervals(notes: Sequence[tuple[float, Note]]) -> Iterator[Interval]:
    """Tests in order of time; one that was not ended runs to the next, or for ever."""
    for index, (at_s, note) in enumerate(notes):
        if note.name not in STARTS:
            continue
        end_s, is_ended = np.inf, False
        for later_s, later in notes[index + 1 :]:
            if later.name in (STARTS[note.name], note.name):
                end_s, is_ended = later_s, later.name != note.name
                break
        yield Interval(at_s, float(end_s), note, is_ended)


def head_answers(
    pulls: Sequence[Pull], dials: Sequence[Dialled | None]
) -> list[dict[str, Any]] | None:
    """The head check: what each dial setting gave, one entry a pull that stands."""
    made = [
        {"set_N": dial.set_n, "peak_N": pull.peak, "at_3s_N": pull.at_3s}
        | ({} if dial.speed is None else {"speed": dial.speed})
        for pull, dial in zip(pulls, dials, strict=True)
        if dial is not None and not pull.void
    ]
    return made or None
