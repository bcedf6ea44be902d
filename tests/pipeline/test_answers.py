"""The pinned object: its names, its nulls, never a NaN."""

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.pipeline.answers import answer, clean, pull_answer
from tensionlog.pipeline.replay import replay

PULL = (
    "kind position held_position void target_N start_s top_s release_s let_off_s peak_N top_N "
    "at_3s_N expected_N release_N drop_N drop_u_N seen loss_N loss_pct clamp_opened "
    "clamp_shut at_least_give_mm held_N idle_N flags"
).split()
RECORDING = (
    "recording purpose samples seconds bad_lines missing restarts faults pulls check hold "
    "head turn stiffness"
).split()

ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner) | st.tuples(inner) | st.dictionaries(st.text(), inner),
    max_leaves=12,
)


@given(ANYTHING)
def test_whatever_is_cleaned_can_be_written_as_strict_json(value: Any):
    assert json.loads(json.dumps(clean(value), allow_nan=False)) is not ...


@given(ANYTHING)
def test_cleaning_twice_changes_nothing(value: Any):
    assert clean(clean(value)) == clean(value)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_number_that_is_none_becomes_null(value: float):
    assert clean({"a": [value]}) == {"a": [None]}


@pytest.fixture(scope="module")
def told(short_job, tmp_path_factory) -> dict[str, Any]:
    path = tmp_path_factory.mktemp("told") / "short.rec"
    path.write_bytes(short_job.recording)
    return answer(replay(path), name="short.rec")


def test_every_pinned_name_is_there(told):
    assert set(RECORDING) <= set(told)
    for pull in told["pulls"]:
        assert set(PULL) <= set(pull)


def test_what_was_not_made_is_null(told):
    assert [told[key] for key in ("check", "hold", "head", "turn", "stiffness")] == [None] * 5
    assert told["faults"] == {}


def test_the_numbers_add_up(told):
    for pull in told["pulls"]:
        assert pull["loss_N"] == pytest.approx(pull["target_N"] - pull["release_N"])
        assert pull["loss_pct"] == pytest.approx(100.0 * pull["loss_N"] / pull["target_N"])
        if pull["seen"]:
            assert pull["top_N"] - pull["drop_N"] == pytest.approx(pull["release_N"], abs=1e-6)
        else:
            assert pull["top_N"] == pull["release_N"]
            assert pull["release_s"] is None


def test_without_a_calibration_the_readings_are_counts(short_job, tmp_path):
    rows = short_job.recording.split(b"\n")
    header = json.loads(rows[1][2:])
    del header["calibration"]
    rows[1] = b"# " + json.dumps(header).encode()
    path = tmp_path / "bare.rec"
    path.write_bytes(b"\n".join(rows))
    whole = replay(path)

    assert len(whole.found) == 4
    assert "no calibration" in whole.warnings[0]
    for pull in answer(whole, name="")["pulls"]:
        newtons = [value for key, value in pull.items() if key.endswith("_N")]
        assert newtons == [None] * len(newtons)
        assert pull["loss_pct"] is None
        assert pull["peak_counts"] > 1e5
        assert pull["release_counts"] < pull["peak_counts"]
        assert "target_counts" not in pull


def test_positions_and_voids_do_not_need_a_calibration(short_job, tmp_path, told):
    path = tmp_path / "bare.rec"
    path.write_bytes(short_job.recording.replace(b'"calibration"', b'"was"'))
    bare = answer(replay(path), name="")["pulls"]

    assert [(p["position"], p["void"]) for p in bare] == [
        (p["position"], p["void"]) for p in told["pulls"]
    ]


def test_a_pull_in_newtons_has_no_counts(short_path):
    pull = replay(short_path).found[0].pull

    assert not [key for key in pull_answer(pull) if key.endswith("_counts")]
