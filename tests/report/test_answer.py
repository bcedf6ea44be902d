"""The same numbers for a program."""

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.report.answer import finite, job_json
from tensionlog.report.rows import rows
from tensionlog.report.spread import spread_info

anything = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text()),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)


@given(anything)
def test_whatever_goes_in_comes_out_as_json(entry):
    json.dumps(finite(entry), allow_nan=False)


def test_what_is_not_a_number_is_null():
    assert finite({"a": [math.nan, math.inf, 1.5]}) == {"a": [None, None, 1.5]}


@pytest.mark.parametrize("kind", ["view", "uncalibrated", "plain"])
def test_every_kind_of_job_can_be_answered(make, kind):
    json.dumps(job_json(getattr(make, kind)()), allow_nan=False)


def test_the_answer_holds_the_numbers_of_the_page(badminton):
    answer = job_json(badminton)
    for string, row in zip(answer["strings"], rows(badminton), strict=True):
        assert string["loss_N"] == row.loss
        assert string["reading_u_N"] == row.reading_u
        assert string["state"] == row.state
    assert answer["groups"][0]["mean_N"] == spread_info(badminton).groups[0].mean
    assert [entry["position"] for entry in answer["verdict"]["look"]] == ["R5", "X12"]


def test_without_a_calibration_every_force_is_null_and_counts_stand_beside(make):
    answer = job_json(make.uncalibrated())
    forces = [v for s in answer["strings"] for k, v in s.items() if k.endswith("_N")]
    assert set(forces) == {None}
    assert answer["strings"][0]["release_counts"] > 800_000
    assert answer["groups"][0]["mean_N"] is None


def test_an_empty_job_is_answered_with_no_strings(make):
    answer = job_json(make.view(found=()))
    assert answer["strings"] == []
    assert answer["verdict"]["text"] == "No pull was found for this job."
    assert answer["groups"][0]["mean_N"] is None
