"""What a sitting adds to the history of its bench, and that it comes back the same."""

from dataclasses import replace

import pytest

from tensionlog.clamps.records import Checked, Dialled, Served, Strung, Told
from tensionlog.clamps.records import Tested as OneTest
from tensionlog.model.history import StoredHappened
from tensionlog.model.recording import Calibration, Note
from tensionlog.pipeline.bench_records import (
    evidence_of,
    happened_of,
    records_of,
    scale_name,
)
from tensionlog.pipeline.replay import replay
from tensionlog.pipeline.windows import Tests as Answers
from tensionlog.twin import play_check, play_hold

AT_S = 1772442000.0


@pytest.fixture(scope="session")
def whole(short_job, tmp_path_factory):
    path = tmp_path_factory.mktemp("records") / "short.rec"
    path.write_bytes(short_job.recording)
    return replay(path)


def records(whole):
    began_s = whole.header.started.timestamp()
    return records_of([StoredHappened(began_s, one) for one in happened_of(whole)])


def noted(whole, name, **body):
    note = Note(AT_S, name, {"note": name, **body})
    return records(replace(whole, runs=(), notes=(note,)))


def test_recordings_of_the_twin_become_records(tmp_path):
    path = tmp_path / "one.rec"
    path.write_bytes(play_check(seed=3, dials_n=(200.0,)).recording)
    checked, dialled = records(replay(path))
    assert isinstance(checked, Checked)
    assert isinstance(dialled, Dialled)
    assert len(checked.loads_pct) >= 2
    assert checked.at_s > checked.recording_s

    path.write_bytes(play_hold(seed=3, clamp="B").recording)
    (tested,) = records(replay(path))
    assert isinstance(tested, OneTest)
    assert (tested.clamp, tested.target_n) == ("B", pytest.approx(244.7, abs=1.0))
    assert tested.give_mm > 0.0
    assert tested.relaxation_pct > 1.0


def test_a_job_is_strung_and_its_mains_are_the_evidence(whole):
    (strung,) = records(whole)

    assert isinstance(strung, Strung)
    assert strung.at_s == pytest.approx(strung.recording_s, abs=5.0)
    for one in evidence_of(whole):
        assert one.seen <= one.could_show <= one.releases
        assert one.job_number == 1


def test_a_service_is_a_record_of_its_own_time(whole):
    (served,) = noted(whole, "service", clamp="B", what="cleaned")

    assert served == Served(
        recording_s=whole.header.started.timestamp(), at_s=AT_S, clamp="B", what="cleaned"
    )


@pytest.mark.parametrize(("name", "state"), [("alert-seen", "seen"), ("alert-acted", "acted")])
def test_what_people_say_to_an_alert_names_it_by_when_it_was_raised(whole, name, state):
    (told,) = noted(whole, name, raised="2026-03-02T09:00:00Z")

    assert isinstance(told, Told)
    assert (told.raised_s, told.state) == (AT_S, state)
    assert noted(whole, name, raised="yesterday") == []
    assert noted(whole, "remark", text="a fine day") == []


def test_a_check_without_an_answer_is_no_record(whole):
    empty = replace(whole, runs=(), notes=())
    failed = Answers(check={"problem": "the cell never came to rest"}, head=[])

    assert records(replace(empty, tests=failed)) == []


def test_kinds_that_this_version_does_not_know_are_left_out(whole):
    (one,) = happened_of(replace(whole, notes=()))

    assert records_of([StoredHappened(0.0, one._replace(kind="later"))]) == []


def test_another_zero_is_the_same_scale_and_another_slope_is_not():
    scale = scale_name(Calibration((-9.2, 1.1e-4)))

    assert scale_name(Calibration((-7.0, 1.1e-4))) == scale
    assert scale_name(Calibration((-9.2, 1.101e-4))) != scale
    assert scale_name(None) == ""
