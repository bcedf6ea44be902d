"""The lines that open a recording."""

import json

import pytest

from tensionlog.errors import RecordingError
from tensionlog.model.recording import Header
from tensionlog.sources.header import parse_header, parse_time

LEAST = {"bench": "north", "started": "2026-03-02T09:00:00.000000Z"}


def header(**fields) -> Header:
    raw = {**LEAST, **fields}
    return parse_header(
        "a.rec", [b"# tensionlog-recording 1", b"# " + json.dumps(raw).encode()], b""
    )


def refused(**fields) -> str:
    with pytest.raises(RecordingError) as caught:
        header(**fields)
    message = str(caught.value)
    assert message.startswith("the header of a.rec needs")
    assert "\n" not in message
    return message


def test_the_least_that_is_needed():
    found = header()
    assert (found.bench, found.purpose) == ("north", "free")
    assert found.started.isoformat() == "2026-03-02T09:00:00+00:00"
    assert found.rate_hz is found.calibration is found.head is found.pattern is None
    assert not found.is_plain


def test_everything_that_is_known_and_what_is_not():
    found = header(
        purpose="job",
        rate_hz=80.0,
        adc_bits=24,
        tensioner="lockout",
        tail_m=0.35,
        calibration={"zero_counts": 84211, "counts_per_N": 9120.0, "name": "March"},
        continues="before.rec",
        operator="nobody yet knows this key",
    )
    assert (found.purpose, found.rate_hz, found.adc_bits) == ("job", 80.0, 24)
    assert (found.head, found.tail_m, found.continues) == ("lockout", 0.35, "before.rec")
    assert found.raw["operator"] == "nobody yet knows this key"
    assert found.calibration is not None
    assert found.calibration.name == "March"
    assert float(found.calibration.force_n(84211 + 9120 * 25)) == pytest.approx(25.0)


@pytest.mark.parametrize(
    ("stated", "head"),
    [
        ("constant pull", "constant-pull"),
        ("constant_pull", "constant-pull"),
        ("Constant-Pull ", "constant-pull"),
        ("drop weight", "drop-weight"),
        ("lockout", "lockout"),
        ("LOCKOUT", "lockout"),
        (None, None),
    ],
)
def test_tensioners_are_known_however_they_are_spelled(stated, head):
    assert header(tensioner=stated).head == head


def test_a_polynomial_calibrates_in_place_of_the_two_numbers():
    calibration = header(calibration={"polynomial": [-9.0, 1e-4, 2e-12]}).calibration
    assert calibration is not None
    assert calibration.coefficients == (-9.0, 1e-4, 2e-12)


def test_a_negative_slope_is_only_the_wiring():
    assert header(calibration={"zero_counts": 0, "counts_per_N": -9120}).calibration


def test_the_plain_dialect():
    found = header(dialect="plain", pattern=r"(?P<value>\d+)", unit="kg")
    assert found.is_plain
    assert (found.pattern, found.unit) == (r"(?P<value>\d+)", "kg")
    assert not header(pattern="(?P<value>x)").is_plain


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"bench": None}, "a text as 'bench'"),
        ({"bench": " "}, "a text as 'bench'"),
        ({"bench": 7}, "which is 7"),
        ({"started": None}, "'started'"),
        ({"started": "yesterday"}, "a time such as"),
        ({"started": "2026-03-02"}, "a time such as"),
        ({"purpose": "party"}, "one of job, check, hold, free"),
        ({"tensioner": "spring"}, "one of lockout, constant-pull, drop-weight"),
        ({"rate_hz": "80"}, "a number above 0 as 'rate_hz'"),
        ({"rate_hz": 0}, "a number above 0"),
        ({"rate_hz": True}, "a number above 0"),
        ({"rate_hz": 1e999}, "a number above 0"),
        ({"adc_bits": 24.5}, "a whole number from 2 to 32"),
        ({"adc_bits": 1}, "'adc_bits'"),
        ({"adc_bits": 64}, "a whole number from 2 to 32"),
        ({"tail_m": -0.1}, "'tail_m'"),
        ({"calibration": 9120}, "zero_counts and counts_per_N, or polynomial"),
        ({"calibration": {}}, "with a slope"),
        ({"calibration": {"zero_counts": 1}}, "with a slope"),
        ({"calibration": {"zero_counts": 1, "counts_per_N": 0}}, "(not 0)"),
        ({"calibration": {"zero_counts": "1", "counts_per_N": 9120}}, "with a slope"),
        ({"calibration": {"polynomial": [1.0]}}, "with a slope"),
        ({"calibration": {"polynomial": [1.0, 0.0]}}, "with a slope"),
        ({"calibration": {"polynomial": [1.0, "x"]}}, "with a slope"),
        ({"calibration": {"polynomial": 5}}, "with a slope"),
        ({"dialect": "fancy"}, "'plain', or nothing"),
        ({"dialect": "plain"}, "a text as 'pattern', which is missing"),
    ],
)
def test_what_is_wrong_is_named_with_what_is_allowed(fields, says):
    assert says in refused(**fields)


@pytest.mark.parametrize(
    "text", ["", "T", "9 o'clock", "2026-13-01T00:00:00Z", "0001-01-01T00:00:00+23:00"]
)
def test_what_is_no_time_is_none(text):
    assert parse_time(text) is None
