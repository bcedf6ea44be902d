"""Read the tests of a sitting: what was kept of them, and the notes that frame it.

A test that cannot be measured is no answer and one line that says why; whatever else the
sitting holds is answered all the same.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from tensionlog.errors import TensionlogError
from tensionlog.model.pull import Pull
from tensionlog.model.recording import Calibration, Header, Note
from tensionlog.pipeline.hold_test import hold_answer
from tensionlog.pipeline.windows import Dialled, Interval, Tests, head_answers, intervals

if TYPE_CHECKING:
    from tensionlog.check.result import CheckResult
    from tensionlog.pipeline.gather import Gatherer

Answer = dict[str, Any]

BEFORE_S = 5.0
"""How much of the cell before a test belongs to it: the empty reading."""

PULLED_BEFORE_S = 25.0
"""A stiffness test may be begun with the string at tension: the pull belongs to it too."""

CHECK_GOES_ON = ("check-end", "dial", "hold-start", "turn-start", "stiff-start")
"""Notes after which the last load of a check has been taken off."""

KINDS = {"check-start": "check", "hold-start": "hold test", "turn-start": "turn test",
         "stiff-start": "stiffness test"}  # fmt: skip


class MadeTest(NamedTuple):
    """One test with everything that was kept of it.

    Attributes:
        header: Of the recording.
        interval: When it was on, and its first note.
        notes: Every note of the sitting, in order, with its time.
        t_s: Seconds of the recording, shape (n,), from a while before the test.
        counts: Raw readings, shape (n,).
        saturated: Which of them stood at the converter's end, shape (n,).
        newtons: Whether `counts` are newtons already.
    """

    header: Header
    interval: Interval
    notes: Sequence[tuple[float, Note]]
    t_s: NDArray[np.float64]
    counts: NDArray[np.float64]
    saturated: NDArray[np.bool_]
    newtons: bool

    @property
    def at(self) -> str:
        """When its first note was written, ISO 8601 in UTC."""
        return datetime.fromtimestamp(self.interval.note.at_s, UTC).isoformat()

    @property
    def body(self) -> Mapping[str, Any]:
        """What its first note says."""
        return self.interval.note.body

    @property
    def end_s(self) -> float:
        """When it ended, or the last reading."""
        return min(self.interval.end_s, float(self.t_s[-1]))

    @property
    def calibration(self) -> Calibration | None:
        """Counts to newtons, or None where nobody knows."""
        return Calibration((0.0, 1.0)) if self.newtons else self.header.calibration

    def inside(self, name: str) -> list[tuple[float, Note]]:
        """Notes called `name` while it was on."""
        begin_s, end_s = self.interval.begin_s, self.interval.end_s
        return [(at, n) for at, n in self.notes if n.name == name and begin_s <= at <= end_s]

    def first(self, name: str) -> float | None:
        """When the first note called `name` was written, or None."""
        return next((at for at, _ in self.inside(name)), None)

    def number(self, key: str) -> float | None:
        """A number of its first note, or None where there is none."""
        value = self.body.get(key)
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        return float(value) if is_number and value is not None else None


def read_tests(
    gathered: "Gatherer", *, pulls: Sequence[Pull], dialled: Sequence[Dialled | None]
) -> Tests:
    """Answer every test of the sitting."""
    if not gathered.windows.keeping:
        return Tests()
    tests = _tests(gathered)
    problems: list[str] = []

    def read(name: str, measure: Callable[[MadeTest], Answer]) -> list[Answer]:
        made = (_tried(t, measure, problems) for t in tests if t.interval.note.name == name)
        return [answer for answer in made if answer is not None]

    checks, holds = read("check-start", _check), read("hold-start", hold_answer)
    turns, moves = read("turn-start", _turn), read("stiff-start", _stiffness)
    made = [t for t in tests if t.body.get("calibration") is True]
    full = [c for c in (_tried(t, _calibrated, problems) for t in made) if c is not None]
    return Tests(
        check=checks[0] if checks else None,
        hold=holds[0] if holds else None,
        holds=tuple(holds),
        head=head_answers(pulls, dialled),
        turn=turns[0] if turns else None,
        stiffness=moves[0] if moves else None,
        calibration=full[0] if full else None,
        problems=tuple(problems),
    )


def _tests(gathered: "Gatherer") -> list[MadeTest]:
    notes = gathered.timed_notes()
    t_s, counts, saturated = gathered.windows.samples(gathered.timeline)
    made = []
    for interval in intervals(notes):
        goes_on = interval.note.name == "check-start"  # its last load may outlast it
        until_s = np.inf if goes_on else interval.end_s
        pulled = interval.note.name == "stiff-start"
        before_s = PULLED_BEFORE_S if pulled else BEFORE_S
        part = (t_s >= interval.begin_s - before_s) & (t_s <= until_s)
        made.append(
            MadeTest(
                header=gathered.header,
                interval=interval,
                notes=notes,
                t_s=t_s[part],
                counts=counts[part],
                saturated=saturated[part],
                newtons=gathered.timeline.carries_newtons,
            )
        )
    return made


def _tried(
    test: MadeTest, measure: Callable[[MadeTest], Answer | None], problems: list[str]
) -> Answer | None:
    kind = KINDS[test.interval.note.name]
    if not len(test.t_s):
        problems.append(f"the {kind} has no readings. Look at the cable and make it again.")
        return None
    try:
        return measure(test)
    except TensionlogError as error:
        problems.append(f"the {kind} gives no answer: {error}")
        return None


def _check(test: MadeTest) -> Answer:
    result = _checked(test, test.calibration)
    return {"at": test.at, **result.answer(), **_made_with(test.body)}


def _checked(test: MadeTest, calibration: Calibration | None) -> "CheckResult":
    from tensionlog.check.analysis import analyse_check
    from tensionlog.check.result import Load
    from tensionlog.check.setup import rated_of, tolerance_of

    loads = test.inside("load")
    last_s = loads[-1][0] if loads else test.interval.begin_s
    ends = [at for at, n in test.notes if n.name in CHECK_GOES_ON and at > last_s]
    adc_bits = test.header.adc_bits
    full_scale = np.inf if adc_bits is None else 2.0 ** (adc_bits - 1) - 1.0
    return analyse_check(
        t_s=test.t_s,
        counts=np.where(test.saturated, full_scale, test.counts),
        loads=[
            Load(at, mass_kg=n.body.get("mass_kg"), force_n=n.body.get("force_N"))
            for at, n in loads
        ],
        start_s=test.interval.begin_s,
        end_s=min(ends, default=float(test.t_s[-1])),
        calibration=calibration,
        reference=test.body,
        adc_bits=adc_bits,
        tolerance=tolerance_of(test.body),
        rated_n=rated_of(test.body),
        complete=test.interval.is_ended,
    )


def _calibrated(test: MadeTest) -> Answer | None:
    """The full calibration that a check was made as; none where it was broken off.

    Raises:
        CalibrationError: Too few loads or runs, wires swapped, counts that do not follow.
    """
    from tensionlog.check.calibrate import calibrate, readings_of
    from tensionlog.check.reference import settings_from_note

    if test.newtons or not test.interval.is_ended:
        return None
    result = _checked(test, None)
    date = datetime.fromtimestamp(test.interval.note.at_s, UTC).date().isoformat()
    return calibrate(
        readings_of(result),
        zero_counts=float(result.zero or 0.0),
        u_reference_pct=settings_from_note(test.body).u_common_of_pct(
            [point.load.mass_kg for point in result.points]
        ),
        name=f"{test.header.bench} {date}",
        date=date,
    ).record()


def _made_with(body: Mapping[str, Any]) -> dict[str, Any]:
    """What the check rests on, as its first note says it: for whoever traces it back."""
    said = {key: value for key, value in body.items() if key not in ("at", "note")}
    return {"part": body.get("part"), "made_with": said}


def _turn(test: MadeTest) -> Answer:
    from tensionlog.clamps.turn import U_HEAD_PCT, measure_turn

    wrap_deg, u_head_pct = test.number("wrap_deg"), test.number("u_head_pct")
    result = measure_turn(
        t_s=test.t_s[~test.saturated],
        force_n=_newtons(test),
        head_n=test.number("head_N") or 0.0,
        start_s=test.interval.begin_s,
        end_s=test.end_s,
        wrap_deg=180.0 if wrap_deg is None else wrap_deg,
        u_head_pct=U_HEAD_PCT if u_head_pct is None else u_head_pct,
        locked=test.header.head in (None, "lockout"),
    )
    return result.answer()


def _stiffness(test: MadeTest) -> Answer:
    from tensionlog.clamps.stiffness import Move, measure_stiffness

    result = measure_stiffness(
        t_s=test.t_s[~test.saturated],
        force_n=_newtons(test),
        span_m=test.number("span_m") or 0.0,
        moves=[
            Move(at, float(note.body.get("moved_mm") or 0.0))
            for at, note in test.inside("step")
        ],
        end_s=test.end_s,
    )
    return result.answer()


def _newtons(test: MadeTest) -> NDArray[np.float64]:
    """Readings in newtons, saturated ones left out, shape (m,).

    Raises:
        TensionlogError: Nobody knows what a count is worth.
    """
    if test.calibration is None:
        raise TensionlogError(
            "the recording has no calibration. Do the morning check and make it again."
        )
    return test.calibration.force_n(test.counts[~test.saturated])
