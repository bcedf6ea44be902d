"""What a line can carry: the figure that `R,<rate>` is measured by, host and device alike."""

from math import floor

from tensionlog.errors import UsageError

BITS_PER_BYTE = 10
"""8N1: a start bit, eight, a stop bit."""

SHARE_FOR_SAMPLES = 0.95
"""A twentieth of the line is kept for identities, events and faults."""

_FRAME = "S,65535,4294967295,-*FFFF\n"


def longest_sample_bytes(adc_bits: int) -> int:
    """Length of the longest sample line of a converter this wide, LF included.

    >>> longest_sample_bytes(24)
    33
    """
    return len(_FRAME) + len(str(2 ** (adc_bits - 1)))


def needed_bits_per_s(rate_hz: float, *, adc_bits: int) -> float:
    """Bits per second that samples at this rate need at most.

    >>> needed_bits_per_s(80, adc_bits=24)
    26400.0
    """
    return float(rate_hz * BITS_PER_BYTE * longest_sample_bytes(adc_bits))


def highest_rate_hz(baud: int, *, adc_bits: int) -> float:
    """Samples a second that a line of this speed carries."""
    return SHARE_FOR_SAMPLES * baud / (BITS_PER_BYTE * longest_sample_bytes(adc_bits))


def check_rate(rate_hz: float, *, baud: int, adc_bits: int) -> None:
    """Refuse a rate that the line cannot carry.

    Raises:
        UsageError: It cannot, or it is no rate.
    """
    if not 0.0 < rate_hz < 1e5:
        raise UsageError(
            f"a rate must be above 0 and below 100,000 per second, not {rate_hz!r}."
        )
    needed = needed_bits_per_s(rate_hz, adc_bits=adc_bits)
    if needed <= SHARE_FOR_SAMPLES * baud:
        return
    most = floor(highest_rate_hz(baud, adc_bits=adc_bits))
    raise UsageError(
        f"{rate_hz:g} samples/s need up to {needed:,.0f} bit/s and this line has {baud:,}: it "
        f"carries {most}/s of {adc_bits} bits. Ask for a lower rate, or set device and "
        "host to a faster line."
    )
