"""A guide on a sitting: readings, faults and the device's buttons reach it."""

from types import SimpleNamespace
from typing import Any

import pytest

from tensionlog.model.guide import Ask, Refused
from tensionlog.model.recording import Calibration
from tensionlog.pipeline.guide import Guide
from tensionlog.pipeline.guide_steps import Confirm, LetOff, Pull
from tensionlog.pipeline.guided import Guided
from tensionlog.timeline import FaultSeen, Marked, Reading


class Notes:
    """Stands for a capture: keeps the notes."""

    def __init__(self) -> None:
        self.bodies: list[dict[str, Any]] = []

    def note(self, body: dict[str, Any], *, ago_s: float = 0.0) -> None:
        self.bodies.append(dict(body))


class Quiet:
    """Stands for a sitting with a calibration of two counts a newton."""

    header = SimpleNamespace(calibration=Calibration((0.0, 0.5)))
    carries_newtons = False

    def listen(self, tap):
        self.tell = tap

    def seconds(self, boot, t_s):
        return 100.0 * boot + t_s


@pytest.fixture
def joined():
    ask = Ask(step="dial-1", words="dial", ends="pull", force_n=100.0)
    off = Ask(step="off", words="let-off", ends="let-off")
    ready = Ask(step="ready", words="ready", ends="key")
    steps = [Confirm(ask=ready), Pull(ask=ask, hold_s=1.0), LetOff(ask=off)]
    sitting, notes = Quiet(), Notes()
    guided = Guided(Guide(steps), capture=notes)  # type: ignore[arg-type]
    guided.listen(sitting)
    return guided, sitting, notes


def asks(guided: Guided) -> list[str]:
    return [one.step for one in guided.said() if isinstance(one, Ask)]


def test_readings_are_told_in_newtons_on_the_axis_of_the_recording(joined):
    guided, sitting, _ = joined

    sitting.tell([Reading(1, 2.0, 60.0)])

    assert (guided.guide.cell.t_s, guided.guide.cell.reading) == (102.0, 30.0)
    assert asks(guided) == ["ready"]


def test_a_foot_switch_says_next_and_a_fault_is_a_word(joined):
    guided, sitting, _ = joined

    sitting.tell([Reading(0, 0.0, 0.0), Marked(0, 0.1, "next"), Marked(0, 0.2, "mark")])
    sitting.tell([FaultSeen(0, 0.3, "saturated")])

    said = guided.said()
    assert [one.step for one in said if isinstance(one, Ask)] == ["ready", "dial-1"]
    assert [one.words for one in said if isinstance(one, Refused)] == ["saturated"]


def test_the_devices_redo_is_a_note_by_itself_and_the_keys_is_written(joined):
    guided, sitting, notes = joined
    pulled = [Reading(0, i / 80, 200.0 if i > 8 else 0.0) for i in range(200)]
    sitting.tell([Reading(0, 0.0, 0.0), Marked(0, 0.1, "next"), *pulled])
    assert asks(guided)[-1] == "off"

    sitting.tell([Marked(0, 3.0, "redo")])
    assert notes.bodies == [] and asks(guided) == ["dial-1"]

    sitting.tell([Reading(0, 3.0 + r.t_s, r.counts) for r in pulled])
    guided.key("again")
    assert notes.bodies == [{"note": "redo"}]
