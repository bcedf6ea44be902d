"""The answer of a check, as plain values."""

import json

from tensionlog.check.result import CheckResult, Load, Point


def point(**changes):
    known = {
        "load": Load(1.0, mass_kg=5.0),
        "reference": 49.0,
        "reading": 50.4,
        "as_read": 50.5,
        "error": 0.1,
        "u": 0.02,
        "direction": "up",
        "start_s": 2.0,
        "end_s": 6.0,
    }
    return Point(**known | changes)


def test_a_check_without_a_point_still_answers_every_pinned_key():
    answer = CheckResult(problem="nothing was read").answer()

    assert answer["points"] == []
    assert answer["zero_N"] is None and answer["verdict"] is None
    assert answer["problem"] == "nothing was read"


def test_what_is_not_finite_is_null_and_all_of_it_is_json():
    result = CheckResult(zero=float("nan"), span_error_pct=float("inf"), points=(point(),))

    text = json.dumps(result.answer(), allow_nan=False)

    assert json.loads(text)["zero_N"] is None
    assert json.loads(text)["points"][0]["error_N"] == 0.1


def test_loads_name_themselves():
    assert Load(0.0, mass_kg=0.0).name == "empty"
    assert Load(0.0, mass_kg=2.5).name == "2.5 kg"
    assert Load(0.0, force_n=100.0).name == "100 N"


def test_an_uncertainty_needs_a_span():
    assert CheckResult().u_force_n(50.0) is None
    assert CheckResult(unit="counts", points=(point(),)).u_force_n(50.0) is None


def test_the_uncertainty_of_a_force_is_span_bow_and_zero_in_squares():
    result = CheckResult(
        points=(point(),), span_error_pct=0.1, u_span_error_pct=0.2, u_zero=0.03
    )

    assert result.u_force_n(49.0) == ((0.2 / 100 * 49.0) ** 2 + 0.03**2) ** 0.5
