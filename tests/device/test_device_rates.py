"""What a line can carry, worked out, and refused with the figure."""

import pytest

from tensionlog.device.rates import check_rate, highest_rate_hz, needed_bits_per_s
from tensionlog.errors import UsageError
from tensionlog.model.lines import Sample
from tensionlog.wire import encode


@pytest.mark.parametrize(("bits", "lowest"), [(24, -(2**23)), (32, -(2**31)), (16, -(2**15))])
def test_the_longest_line_is_what_the_wire_writes(bits, lowest):
    longest = encode(Sample(65535, 4294967295, lowest))
    assert needed_bits_per_s(1.0, adc_bits=bits) == 10 * len(longest)


def test_a_rate_is_refused_just_above_what_the_line_carries():
    most = highest_rate_hz(115_200, adc_bits=24)
    check_rate(most * 0.999, baud=115_200, adc_bits=24)
    with pytest.raises(UsageError, match="it carries 331/s of 24 bits"):
        check_rate(most * 1.001, baud=115_200, adc_bits=24)


def test_the_refusal_names_what_is_needed_and_what_there_is():
    with pytest.raises(UsageError, match=r"need up to 422,400 bit/s and this line has 115,200"):
        check_rate(1280.0, baud=115_200, adc_bits=24)


@pytest.mark.parametrize("rate_hz", [0.0, -80.0, float("nan"), 1e6])
def test_what_is_no_rate_is_refused(rate_hz):
    with pytest.raises(UsageError, match="a rate must be above 0"):
        check_rate(rate_hz, baud=115_200, adc_bits=24)
