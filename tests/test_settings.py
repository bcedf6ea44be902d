"""The bench's set-up: what is written comes back, what is wrong is refused in one line."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.errors import SettingsError
from tensionlog.settings import (
    BenchSettings,
    parse_settings,
    settings_path,
    settings_text,
)

finite = st.floats(allow_nan=False, allow_infinity=False)
texts = st.text(st.characters(codec="utf-8"), min_size=1).filter(str.strip)
calibrations = st.one_of(
    st.fixed_dictionaries(
        {"zero_counts": finite, "counts_per_N": finite.filter(bool)},
        optional={"name": texts, "date": texts},
    ),
    st.fixed_dictionaries(
        {"polynomial": st.lists(finite, min_size=2).filter(lambda c: any(c[1:]))}
    ),
)
benches = st.builds(
    BenchSettings,
    bench=texts,
    port=st.none() | texts,
    baud=st.integers(50, 1_000_000),
    tensioner=st.sampled_from([None, "lockout", "constant-pull", "drop-weight"]),
    tail_m=st.none() | st.floats(0, 5),
    rate_hz=st.none() | st.floats(0.1, 1e5),
    adc_bits=st.none() | st.integers(2, 32),
    calibration=st.none() | calibrations,
    pattern=st.none() | texts,
    plain_unit=st.none() | texts,
    unit=st.sampled_from(["lbf", "kgf", "N"]),
    operator=st.none() | texts,
    recordings=st.none() | texts,
    database=st.none() | texts,
)


@given(benches)
def test_what_is_written_is_read_back(settings):
    assert parse_settings(settings_text(settings), label="b.toml") == settings


def test_a_file_that_says_only_its_version_gives_the_defaults():
    assert parse_settings("version = 1", label="b.toml") == BenchSettings()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "b.toml says version = None, this tensionlog reads 1. Upgrade"),
        ("version = 2", "b.toml says version = 2"),
        ("version = 1\nbench = ", "b.toml is not TOML"),
        ("version = 1\ncolour = 1", "b.toml has a key 'colour' that nobody knows. Known are"),
        ("version = 1\nbench = ''", "says bench = ''. Give a text"),
        ("version = 1\nbench = 3", "says bench = 3. Give a text"),
        ("version = 1\ntail_m = -0.1", "says tail_m = -0.1. Give metres from 0 to 5"),
        ("version = 1\ntail_m = nan", "says tail_m = nan. Give metres"),
        ("version = 1\ntail_m = true", "says tail_m = True. Give metres"),
        ("version = 1\nrate_hz = 0", "says rate_hz = 0. Give samples per second"),
        ("version = 1\nadc_bits = 24.5", "says adc_bits = 24.5. Give a whole number"),
        ("version = 1\nbaud = 1", "says baud = 1. Give bits per second"),
        ("version = 1\nunit = 'stone'", "says unit = 'stone'. Give lbf, kgf or N"),
        ("version = 1\ntensioner = 'crank'", "Give lockout, constant-pull or drop-weight"),
        ("version = 1\ncalibration = 4", "Give zero_counts and counts_per_N"),
        ("version = 1\n[calibration]\nzero_counts = 1", "Give zero_counts and counts_per_N"),
        (
            "version = 1\n[calibration]\nzero_counts = 1\ncounts_per_N = 0",
            "Give zero_counts and counts_per_N (not 0)",
        ),
        ("version = 1\n[calibration]\npolynomial = [1.0]", "a polynomial with a slope"),
        ("version = 1\n[calibration]\npolynomial = [1.0, 0]", "a polynomial with a slope"),
        ("version = 1\n[calibration]\nslope = 2.0", "a polynomial with a slope"),
    ],
)
def test_a_wrong_file_is_refused_in_one_line_that_says_what_is_allowed(text, said):
    with pytest.raises(SettingsError) as caught:
        parse_settings(text, label="b.toml")

    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_header_of_a_recording_says_what_is_known_and_nothing_else():
    settings = BenchSettings(
        bench="north",
        tensioner="lockout",
        tail_m=0.0,
        calibration={"zero_counts": 1, "counts_per_N": 2.0},
    )

    assert settings.header(purpose="job") == {
        "bench": "north",
        "purpose": "job",
        "tensioner": "lockout",
        "tail_m": 0.0,
        "calibration": {"zero_counts": 1, "counts_per_N": 2.0},
    }


def test_another_sketch_is_not_calibrated_by_our_counts():
    settings = BenchSettings(
        pattern="(?P<value>.*)",
        plain_unit="kg",
        calibration={"zero_counts": 1, "counts_per_N": 2.0},
    )

    header = settings.header(purpose="free")

    assert header["dialect"] == "plain"
    assert header["unit"] == "kg"
    assert "calibration" not in header


def test_changes_that_are_none_leave_a_value_as_it_is():
    settings = BenchSettings(bench="north", port="COM3")

    changed = settings.with_changes({"port": None, "baud": 9600})

    assert changed == BenchSettings(bench="north", port="COM3", baud=9600)


def test_the_file_lies_in_the_folder_that_the_variable_names(monkeypatch, tmp_path):
    monkeypatch.setenv("TENSIONLOG_CONFIG", str(tmp_path))

    assert settings_path() == tmp_path / "bench.toml"


def test_without_the_variable_the_file_lies_in_the_platforms_own_folder(monkeypatch):
    monkeypatch.delenv("TENSIONLOG_CONFIG", raising=False)

    assert settings_path().parts[-2:] == ("tensionlog", "bench.toml")


def test_places_that_are_named_come_before_the_platforms_own():
    named = BenchSettings(recordings="r", database="d/x.db")

    assert named.recordings_folder == Path("r")
    assert named.database_path == Path("d/x.db")
    assert BenchSettings().recordings_folder.name == "recordings"
    assert BenchSettings().database_path.name == "tensionlog.db"
