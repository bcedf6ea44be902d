"""What the page shows, from what was recorded."""

import json

import pytest

from tensionlog.model.recording import Note
from tensionlog.page.drawn import bed, counts
from tensionlog.page.scene import _next, scene
from tensionlog.page.steps import BEFORE, BETWEEN
from tensionlog.pipeline.now import Guiding, Now
from tensionlog.report.rounding import Reader
from tensionlog.sources.header import idle_header

from .conftest import TICKET

HEADER = idle_header({"bench": "b", "purpose": "job", "tensioner": "lockout"})


@pytest.fixture
def shown(words, standing, tmp_path):
    """The scene of a job with so many pulls, all confirmed."""

    def show(pulls=0, *notes, loaded=False, items=None, **more):
        asked = [s.item for s in (*BEFORE, BETWEEN)] if items is None else items
        said = [Note(0.0, "job-start", {"note": "job-start", "job": TICKET})]
        said += [Note(0.0, "inspect", {"item": item, "answer": "sound"}) for item in asked]
        now = Now(
            link="ok", path=tmp_path / "a.rec", header=HEADER, notes=(*said, *notes),
            standing=standing(pulls, loaded=loaded), **more,
        )  # fmt: skip
        found = scene(now, words, unit="N", is_calibrated=True)
        json.dumps(found, allow_nan=False)  # whatever is shown can be sent
        return found

    return show


def test_without_a_job_the_page_is_at_home(words):
    found = scene(Now(link="gone", link_text="no"), words, unit="N", is_calibrated=True)
    assert found["stage"] == "home"
    assert found["alarms"] == ["GONE: no It is opened again as soon as it is there."]


def test_the_next_string_with_its_target_and_clamps(shown):
    found = shown(2)["next"]
    assert (found["position"], found["opens"], found["shuts"]) == ("L2", "A", "A")
    assert found["target"] == "110\u00a0N"


def test_while_the_head_holds_the_string_under_way_is_shown(shown):
    found = shown(2, loaded=True)
    assert found["next"]["position"] == "R1"
    assert (found["counts"]["left"], found["counts"]["right"]) == (1, 0)


def test_pulls_left_and_right_of_the_centre_are_counted(standing):
    found = counts(standing(5))
    assert [found[k] for k in ("left", "right", "crosses")] == [2, 2, 1]
    assert [found[k] for k in ("left_of", "right_of", "crosses_of")] == [2, 2, 2]
    assert counts(standing(3, "redo"))["left"] == 1
    assert counts(None)["left_of"] == 0


def test_a_lost_string_is_drawn_as_lost_and_a_low_one_as_off(standing, pull):
    stood = standing(3)
    lost = pull(position="L2", held_position="L1", seen=True, at_least_lost=9.0)
    low = pull(position="R1", held_position=None, release=90.0)
    drawn = bed(stood.jobs[-1], stood, {1: low, 2: lost})
    states = dict(drawn["mains"])
    assert (states["L1"], states["L2"], states["R1"], states["R2"]) == (
        "lost",
        "done",
        "off",
        "",
    )
    assert [name for name, _ in drawn["mains"]] == ["L2", "L1", "R1", "R2"]


def test_the_next_string_is_shown_with_the_dial_of_its_part_of_the_bed(standing, words):
    dialled = {**TICKET, "dial_N": 115.0, "dial_crosses_N": 117.5}
    for pulls, dial in ((0, "115\u00a0N"), (4, "117.5\u00a0N")):
        stood = standing(pulls, ticket=dialled)
        assert _next(stood, stood.jobs[-1], Reader("N"), words)["dial"] == dial
    plain = standing(0)
    assert _next(plain, plain.jobs[-1], Reader("N"), words)["dial"] == ""


def test_the_live_verdict_is_that_of_the_last_pull(shown, pull):
    live = pull(start_s=20.0, position="R1", held_position="L1", seen=True, at_least_lost=9.0)
    found = shown(2, loaded=True, live=live, seen_at_s=5.0)["verdict"]
    assert (found["name"], found["tone"], found["final"]) == ("lost", "bad", False)
    assert found["seen_at"] == 5.0
    assert "crank" in found["do"]


def test_a_head_that_changed_too_much_is_said(shown):
    def measured(item, long_mm):
        return Note(
            0.0, "inspect", {"item": item, "answer": "x", "long_mm": long_mm, "wide_mm": 190.0}
        )

    kept = shown(6, measured("head-before", 245.0), measured("head-after", 243.5))
    gave = shown(6, measured("head-before", 245.0), measured("head-after", 242.0))
    assert kept["head_change"]["tone"] == "good"
    assert gave["head_change"]["tone"] == "bad"
    assert "−3.0" in gave["head_change"]["text"]


def test_a_guided_test_says_one_word_and_one_sentence(words, tmp_path):
    from tensionlog.model.guide import Ask, Refused

    ask = Ask(step="load-1", words="hang", values={"mass_kg": 10.0}, number=2, of=5)
    guiding = Guiding().after(ask).after(Refused(step="load-1", words="unsteady"))
    header = idle_header({"bench": "b", "purpose": "check"})
    now = Now(link="ok", path=tmp_path / "a.rec", header=header, guiding=guiding)
    found = scene(now, words, unit="N", is_calibrated=True)
    assert found["stage"] == "guide"
    assert found["guide"]["word"] == "HANG"
    assert found["guide"]["refused"]
    assert "Feet clear" in found["guide"]["caution"]
    json.dumps(found, allow_nan=False)
