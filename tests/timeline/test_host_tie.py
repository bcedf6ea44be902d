"""The device's clock tied to the host's: bursts, drift, steps and restarts."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.model.lines import Hello, Sample
from tensionlog.timeline import Timeline
from tensionlog.timeline.host_tie import HostTie

pytestmark = pytest.mark.long

START_S = 1772442000.0
PERIOD_S = 0.0125


class Sitting:
    """A device with a clock of its own and a host that reads late, never early."""

    def __init__(self, *, drift: float = 0.0, jitter_s: float = 0.016, seed: int = 1) -> None:
        self.line = Timeline(rate_hz=80.0, adc_bits=24, started_s=START_S)
        self.true_s = 0.05
        self.boot_at_s = 0.0
        self.host_step_s = 0.0
        self._drift = drift
        self._jitter_s = jitter_s
        self._rng = random.Random(seed)
        self._n = 0

    def device_s(self, true_s: float) -> float:
        """Seconds since this boot's first sample on the device's clock."""
        return (true_s - self.first_true_s) * (1.0 + self._drift)

    @property
    def first_true_s(self) -> float:
        """True time of this boot's first sample."""
        return self.boot_at_s + 0.05

    def run(self, seconds: float, *, every_s: float = 0.1) -> None:
        """Sample for `seconds`, read every `every_s` with a random delay."""
        for _ in range(round(seconds / every_s)):
            samples = []
            for _ in range(round(every_s / PERIOD_S)):
                t_us = round((self.true_s - self.boot_at_s) * (1 + self._drift) * 1e6)
                samples.append(Sample(self._n % 65536, t_us % 2**32, self._n * 31 % 997))
                self._n += 1
                self.true_s += PERIOD_S
            late_s = self._rng.random() * self._jitter_s
            self.line.arrived(START_S + self.true_s - PERIOD_S + late_s + self.host_step_s)
            self.line.feed(list(samples))

    def restart(self, off_s: float, boot: str) -> None:
        """Be off for `off_s`, then begin again from nothing."""
        self.true_s += off_s
        self.boot_at_s = self.true_s - 0.05
        self._n = 0
        self.line.arrived(START_S + self.true_s + self.host_step_s)
        self.line.feed([Hello(1, "cell", "1", 80.0, 24, boot)])


@pytest.mark.parametrize("drift", [0.0, 0.005, -0.005, 0.03, -0.03])
def test_a_note_is_placed_to_within_the_delays_however_the_clock_drifts(drift):
    """Within half of the jitter of 16 ms, from one second to twenty minutes."""
    sitting = Sitting(drift=drift)
    sitting.run(1200.0)
    for true_s in (1.0, 59.0, 333.3, 700.0, 1199.0):
        boot, t_s = sitting.line.at_device(START_S + true_s)
        assert boot == 0
        assert t_s == pytest.approx(sitting.device_s(true_s), abs=0.008)


def test_bursts_do_not_move_samples():
    """Reading twice a second instead of ten times: the same answer to a few milliseconds."""
    sitting = Sitting(drift=0.01, jitter_s=0.03)
    for _ in range(10):
        sitting.run(20.0, every_s=0.1)
        sitting.run(20.0, every_s=0.5)
    _, t_s = sitting.line.at_device(START_S + 200.0)
    assert t_s == pytest.approx(sitting.device_s(200.0), abs=0.01)


def test_a_reader_that_stalled_for_seconds_moves_nothing():
    sitting = Sitting()
    sitting.run(100.0)
    sitting._jitter_s = 8.0  # noqa: SLF001 - one slow stretch
    sitting.run(8.0, every_s=8.0)
    sitting._jitter_s = 0.016  # noqa: SLF001
    sitting.run(100.0)
    for true_s in (90.0, 104.0, 120.0):
        _, t_s = sitting.line.at_device(START_S + true_s)
        assert t_s == pytest.approx(sitting.device_s(true_s), abs=0.3)
    assert sitting.line.clock_steps() == []


@pytest.mark.parametrize(
    ("drift", "seconds"), [(5e-3, 3600.0), (-5e-3, 3600.0), (2e-5, 3600.0)]
)
def test_the_drift_is_found_to_20_ppm_in_an_hour(drift, seconds):
    """A clock that is fast by d shows d/(1 + …) by definition: device over host, minus one."""
    sitting = Sitting(drift=drift)
    sitting.run(seconds, every_s=0.25)
    found = sitting.line.drift_ppm()
    assert found is not None
    assert found.ppm == pytest.approx(drift * 1e6, abs=20.0)
    assert abs(found.ppm - drift * 1e6) < 3.0 * found.u_ppm
    assert found.u_ppm < 20.0


def test_a_short_sitting_says_nothing_about_drift():
    sitting = Sitting()
    assert sitting.line.drift_ppm() is None
    sitting.run(10.0)
    assert sitting.line.drift_ppm() is None


@pytest.mark.parametrize("step_s", [3600.0, -3600.0, 0.8, -0.8, 30.0, -30.0])
def test_a_host_clock_that_is_set_moves_no_sample_and_no_note(step_s):
    sitting = Sitting()
    sitting.run(120.0)
    sitting.host_step_s = step_s
    sitting.run(120.0)
    line = sitting.line
    assert line.ledger().seconds == pytest.approx(240.0 - PERIOD_S, abs=0.02)
    assert line.ledger().restarts == line.ledger().missing == 0
    (step,) = line.clock_steps()
    assert step.size_s == pytest.approx(step_s, abs=0.05)
    assert step.t_s == pytest.approx(120.0, abs=5.1)
    for true_s, stepped_s in ((30.0, 0.0), (100.0, 0.0), (135.0, step_s), (230.0, step_s)):
        near = (0, sitting.device_s(true_s))
        _, t_s = line.at_device(START_S + true_s + stepped_s, near=near)
        assert t_s == pytest.approx(sitting.device_s(true_s), abs=0.05)


def test_the_order_in_the_file_only_breaks_ties():
    """Without a step a note acts at its time, wherever in the file it stands."""
    sitting = Sitting()
    sitting.run(300.0)
    for near in ((0, 0.0), (0, 299.0), None):
        _, t_s = sitting.line.at_device(START_S + 150.0, near=near)
        assert t_s == pytest.approx(sitting.device_s(150.0), abs=0.01)


def test_after_a_restart_time_goes_on_by_the_hosts_clock():
    sitting = Sitting(drift=0.004)
    sitting.run(60.0)
    before_s = sitting.true_s - PERIOD_S
    sitting.restart(7.5, "2")
    first_s = sitting.true_s
    sitting.run(60.0)
    line = sitting.line
    assert line.seconds(1, 0.0) - line.seconds(0, line.seconds(0, 0.0)) > 60.0
    gap_s = line.seconds(1, 0.0) - 60.0 * 1.004
    assert gap_s == pytest.approx(first_s - before_s, abs=0.05)
    assert line.ledger().seconds == pytest.approx(60 * 1.004 + 7.5 + 60 * 1.004, abs=0.05)


@pytest.mark.parametrize(
    ("true_s", "boot"), [(30.0, 0), (59.9, 0), (60.3, 0), (67.4, 1), (68.0, 1), (120.0, 1)]
)
def test_a_note_belongs_to_the_start_that_ran_or_was_nearest(true_s, boot):
    sitting = Sitting()
    sitting.run(60.0)
    sitting.restart(7.5, "2")
    sitting.run(60.0)
    assert sitting.line.at_device(START_S + true_s, near=(1, 60.0))[0] == boot


def test_many_restarts_stay_in_order():
    sitting = Sitting()
    for number in range(40):
        sitting.run(1.0)
        sitting.restart(1.7, str(number))
    sitting.run(1.0)
    starts_s = [sitting.line.seconds(boot, 0.0) for boot in range(1, 41)]
    assert starts_s == sorted(starts_s)
    assert starts_s[-1] == pytest.approx(40 * 2.7, abs=0.1)


def test_a_step_of_the_hosts_clock_during_a_restart_never_turns_time_back():
    sitting = Sitting()
    sitting.run(30.0)
    sitting.host_step_s = -3600.0
    sitting.restart(2.0, "2")
    sitting.run(30.0)
    assert sitting.line.seconds(1, 0.0) > 29.9


def test_without_arrival_times_the_headers_start_is_the_first_sample():
    line = Timeline(rate_hz=80.0, adc_bits=24, started_s=START_S)
    line.feed([Sample(n, n * 12500, n) for n in range(800)])
    assert line.at_device(START_S + 4.0) == (0, 4.0)
    line.feed([Hello(1, "c", "1", 80.0, 24, "a"), Hello(1, "c", "1", 80.0, 24, "b")])
    line.feed([Sample(n, n * 12500, n) for n in range(800)])
    assert line.seconds(1, 0.0) == pytest.approx(10.0)
    assert line.at_device(START_S + 12.0) == (1, pytest.approx(2.0))
    assert line.at_device(START_S - 1.0) == (0, -1.0)


def test_one_arrival_for_a_whole_file_tells_when_its_first_bytes_came():
    line = Timeline(rate_hz=80.0, adc_bits=24, started_s=START_S)
    line.arrived(START_S + 0.25)
    for at in range(0, 48_000, 8000):
        line.feed([Sample(n % 65536, n * 12500, n) for n in range(at, at + 8000)])
    assert line.at_device(START_S + 100.25) == (0, pytest.approx(100.0, abs=0.02))


def test_times_before_and_after_all_samples_go_on_evenly():
    sitting = Sitting()
    sitting.run(60.0)
    assert sitting.line.at_device(START_S - 2.0)[1] == pytest.approx(-2.05, abs=0.02)
    assert sitting.line.at_device(START_S + 90.0)[1] == pytest.approx(89.95, abs=0.02)


def test_a_day_costs_little_memory():
    tie = HostTie()
    for second in range(86_400 * 4):
        tie.add(0, second / 4, START_S + second / 4 + second % 7 * 0.001)
    stretches = tie.stretches()
    assert len(stretches) == 1
    assert len(stretches[0].device_s) == 86_400 / 5


@given(
    st.lists(st.tuples(st.floats(0.0, 200.0), st.floats(0.0, 0.2)), min_size=1, max_size=60),
    st.floats(-50.0, 250.0),
)
def test_the_envelope_is_never_above_the_least_delay_nearby(pairs, at_s):
    """Arrivals only come late: the offset lies on or below all that were seen close by."""
    tie = HostTie()
    for device_s, late_s in sorted(pairs):
        tie.add(0, device_s, START_S + device_s + late_s)
    (stretch,) = tie.stretches()
    offset_s = tie.offset_s(0, min(max(at_s, stretch.device_s[0]), stretch.device_s[-1]))
    near = [late_s for device_s, late_s in pairs if abs(device_s - at_s) < 1e-9]
    assert offset_s is not None
    assert -1e-6 <= offset_s - START_S <= max(late_s for _, late_s in pairs) + 1e-6
    assert all(offset_s - START_S <= late_s + 1e-6 for late_s in near)
    assert tie.offset_s(1, at_s) is None
