"""Bad input: one clear line each, nothing raised, nothing lost."""

from dataclasses import replace

import numpy as np
import pytest

from tensionlog.check.result import Load
from tensionlog.model.recording import Calibration


@pytest.fixture(scope="module")
def daily(check):
    return check.made(np.random.default_rng(21), check.daily)


@pytest.fixture(scope="module")
def up_down(check):
    return check.made(np.random.default_rng(22), check.weekly)


def refused(result, *words):
    """The result has no verdict and says why in one line with all of the words."""
    assert result.verdict is None
    assert "\n" not in result.problem
    for word in words:
        assert word in result.problem
    assert result.answer()["problem"] == result.problem
    return True


def test_no_load_named(daily):
    assert refused(daily.analysed(loads=[]), "no mass was named")


def test_only_empty_loads_named(daily):
    loads = [Load(load.t_s, mass_kg=0.0) for load in daily.loads]

    assert refused(daily.analysed(loads=loads), "3 empty readings")


def test_no_sample_at_all(daily):
    assert refused(daily.analysed(t_s=[], counts=[]), "no reading came")


def test_a_cell_at_its_end(daily):
    stuck = np.full_like(daily.counts, 8388607.0)

    assert refused(daily.analysed(counts=stuck), "saturated", str(len(stuck)))


def test_an_unplugged_cell_that_reads_one_number(daily):
    dead = np.full_like(daily.counts, -1.0)

    assert refused(daily.analysed(counts=dead), "did not change", "10 kg")
    assert refused(daily.analysed(counts=dead, calibration=None), "did not change")


def test_a_mass_named_but_not_hung(check):
    bench = replace(check.daily, sequence_kg=(0, 0, 0))
    recording = check.made(np.random.default_rng(23), bench)
    loads = [
        replace_mass(load, 10.0 if i == 1 else 0.0) for i, load in enumerate(recording.loads)
    ]

    assert refused(recording.analysed(loads=loads), "did not change", "10 kg")


def replace_mass(load, mass_kg):
    return load._replace(mass_kg=mass_kg)


def test_wires_swapped(check):
    recording = check.made(np.random.default_rng(24), replace(check.daily, wired=-1.0))

    assert refused(recording.analysed(), "wires", "swapped")
    assert recording.analysed().points, "what was read is kept"


def test_a_reading_that_changes_sign(check, up_down):
    force = check.calibration.force_n(up_down.counts)
    flipped = np.where((up_down.t_s > up_down.loads[3].t_s), -force, force)
    part = up_down.t_s < up_down.loads[4].t_s

    result = up_down.analysed(
        t_s=up_down.t_s[part],
        counts=flipped[part],
        loads=up_down.loads[:4],
        end_s=up_down.loads[4].t_s,
        calibration=Calibration((0.0, 1.0)),
        adc_bits=None,
    )

    assert refused(result, "changes sign", "15 kg")


@pytest.mark.parametrize(("unit", "factor"), [("kgf", 9.80665), ("lbf", 4.4482216)])
def test_a_scale_in_the_wrong_unit(daily, unit, factor):
    loads = [
        Load(load.t_s, force_n=(load.mass_kg or 0) * 9.81 / factor) for load in daily.loads
    ]

    result = daily.analysed(loads=loads, reference={"reference": "scale"})

    assert refused(result, unit, "unit")


def test_one_name_for_two_masses(check):
    bench = replace(check.daily, sequence_kg=(0, 5, 0, 10, 0))
    recording = check.made(np.random.default_rng(25), bench)
    loads = [replace_mass(load, 5.0 if load.mass_kg else 0.0) for load in recording.loads]

    assert refused(recording.analysed(loads=loads), "5 kg was named twice")


def test_a_mass_that_never_came_to_rest(check):
    bench = replace(check.daily, hand_s=(30.0, 40.0), hold_s=(12.0, 13.0), noise_n=0.02)
    recording = check.made(np.random.default_rng(26), bench)

    assert refused(recording.analysed(), "10 kg", "never came to rest")


def test_one_restless_mass_among_others_is_left_out_and_named(check, up_down):
    """The hand shakes the cell all through the second visit to 5 kg."""
    begin, end = up_down.loads[1].t_s, up_down.loads[2].t_s
    rng = np.random.default_rng(27)
    knots = np.interp(up_down.t_s, np.arange(0, 200, 0.2), rng.normal(size=1000))
    shaking = (up_down.t_s > begin) & (up_down.t_s < end)

    result = up_down.analysed(counts=up_down.counts + 9120 * 6 * knots * shaking)

    assert result.verdict is not None
    assert len(result.points) == 4
    assert any("never came to rest, left out: 5 kg" in w for w in result.warnings)


def test_a_mass_above_the_rated_load(daily):
    assert refused(daily.analysed(rated_n=50.0), "10 kg", "98 N", "50 N", "Do not hang it")


@pytest.mark.parametrize("mass_kg", [-3.0, float("nan"), "ten", [10], float("inf")])
def test_a_load_that_is_no_amount(daily, mass_kg):
    loads = [daily.loads[0], replace_mass(daily.loads[1], mass_kg)]

    assert refused(daily.analysed(loads=loads), repr(mass_kg))


def test_a_mass_written_as_text_is_still_a_mass(daily):
    loads = [replace_mass(load, str(load.mass_kg)) for load in daily.loads]

    assert daily.analysed(loads=loads).points == daily.analysed().points


def test_a_set_up_that_cannot_be(daily):
    assert refused(daily.analysed(reference={"gravity": 98.1}), "98.1")


def test_a_calibration_without_slope(daily):
    assert refused(daily.analysed(calibration=Calibration((1.0, float("nan")))), "slope")


def test_a_check_broken_off_is_kept_and_not_judged(up_down):
    part = up_down.t_s < up_down.loads[3].t_s

    result = up_down.analysed(
        t_s=up_down.t_s[part],
        counts=up_down.counts[part],
        loads=up_down.loads[:3],
        end_s=float(up_down.t_s[part][-1]),
        complete=False,
    )

    assert refused(result, "broken off after 2 load(s)")
    assert result.incomplete and len(result.points) == 2
    assert result.span_error_pct is not None


def test_broken_off_before_any_load(daily):
    result = daily.analysed(loads=daily.loads[:1], complete=False)

    assert result.incomplete and refused(result, "no mass was named")


def test_some_saturated_readings_and_spikes_are_counted(check):
    recording = check.made(np.random.default_rng(28), replace(check.daily, spikes=0.01))
    counts = recording.counts.copy()
    counts[100:104] = 8388607.0

    result = recording.analysed(counts=counts)

    assert any("4 saturated" in w for w in result.warnings)
    assert any("spikes left out" in w for w in result.warnings)
    assert result.span_error_pct == pytest.approx(recording.bench.span_pct, abs=0.06)


def test_a_check_without_calibration_whose_mass_was_not_hung_is_refused(check):
    bench = replace(check.daily, sequence_kg=(0, 0, 0))
    recording = check.made(np.random.default_rng(29), bench)
    loads = [
        replace_mass(load, 10.0 if i == 1 else 0.0) for i, load in enumerate(recording.loads)
    ]

    assert refused(recording.analysed(loads=loads, calibration=None), "did not change")


def test_without_samples_of_the_load_nothing_can_be_scaled(daily):
    part = daily.t_s < daily.loads[1].t_s

    result = daily.analysed(
        t_s=daily.t_s[part],
        counts=daily.counts[part],
        loads=daily.loads[:2],
        end_s=daily.loads[1].t_s + 1,
        calibration=None,
    )

    assert refused(result, "no samples of 10 kg")
