"""The device's core for MicroPython: what `core/` is in C, call by call and byte by byte.

Nothing here knows a pin or a clock; `main.py` beside it is a board's layer. It runs on
CPython as well, which is how it is tested: random calls must give the very bytes that
the core in C gives.

Numbers above 30 bits and every line are allocated: with the collector run between two
conversions, 80 a second leave time for it on a controller of 100 MHz.
"""

MAX_LINE = 96
RING = 255
KEPT = 72
BOUNCE_US = 20000
LATE = 8
LEAST_SAME = 16
COMMAND = 16
CLOCK = 0xFFFFFFFF
SATURATED, NO_BRIDGE, STUCK, NOT_READY = 1, 2, 4, 8
FAULTS = (
    (SATURATED, "saturated"),
    (NO_BRIDGE, "no-bridge"),
    (STUCK, "stuck"),
    (NOT_READY, "not-ready"),
)


def crc(data):
    """CRC-16/XMODEM, as shared/wire.md has it."""
    value = 0
    for byte in data:
        value ^= byte << 8
        for _ in range(8):
            value = (value << 1) ^ (0x1021 if value & 0x8000 else 0)
            value &= 0xFFFF
    return value


def line(kind, *fields):
    """One line, LF included; None where the wire cannot say it."""
    body = ",".join((kind,) + tuple(str(field) for field in fields)).encode()
    if len(body) > MAX_LINE - 5:
        return None
    for byte in body:
        if (byte < 0x20 and byte != 9) or byte > 0x7E:
            return None
    return body + b"*%04X\n" % crc(body)


def named(kind, seq, t_us, name):
    """An event or a fault; None for a name that the wire cannot say."""
    return None if not name or "," in name else line(kind, seq, t_us, name)


def rate_text(rate_mhz):
    """A rate in thousandths of a hertz, as the wire writes it."""
    whole, rest = divmod(rate_mhz, 1000)
    return str(whole) if not rest else ("%d.%03d" % (whole, rest)).rstrip("0")


def longest_sample(adc_bits):
    """Length of the longest sample line of a converter this wide, LF included."""
    return len("S,65535,4294967295,-*FFFF\n") + len(str(1 << (adc_bits - 1)))


def bits_per_s(rate_mhz, adc_bits):
    """Bits a second that a rate needs, ten to a byte, rounded up."""
    return (rate_mhz * 10 * longest_sample(adc_bits) + 999) // 1000


class Device:
    """A tension logger's device without its board; see `core/device.h`.

    Args:
        name: Its own, unlike that of any other device.
        boot: Changes at every start.
        why: What started it, such as "started: power on".
        rates_mhz: What the converter can do, thousandths of a hertz.
        rate_mhz: What it does now.
        switches: For each switch what it says as it closes and as it opens, or None.
    """

    def __init__(
        self, name, boot, why, rates_mhz, rate_mhz, switches,
        firmware="reference-micropython 1", adc_bits=24, baud=115200,
    ):  # fmt: skip
        self.name, self.boot, self.firmware = name, boot, firmware
        self.adc_bits, self.baud = adc_bits, baud
        self.rates_mhz, self.switches = rates_mhz, switches
        self.top = (1 << (adc_bits - 1)) - 1
        self.out = b""
        self.next_seq, self.begun = 0, False
        self.last_counts = self.same = self.at_end = self.standing = self.lost = 0
        self.closed, self.told_us, self.bouncing = None, {}, set()
        self.command, self.wanted_mhz = b"", 0
        self._set_rate(rate_mhz, 0)
        self._say(line("K", why))
        self._say_who()

    def converted(self, t_us, counts):
        """A conversion was ready at t_us."""
        self._queue(line("S", self.next_seq, t_us, counts), KEPT)
        self.missed(1)
        self.last_us = t_us
        self.standing &= ~NOT_READY
        self._watch_range(t_us, counts)
        self._watch_same(t_us, counts)

    def missed(self, conversions):
        """Conversions that nobody fetched: their numbers are left out."""
        self.next_seq = (self.next_seq + conversions) & 0xFFFF
        self.begun = self.begun or conversions > 0

    def fault(self, t_us, name):
        """Something the board noticed itself."""
        self._say(named("F", self._latest(), t_us, name))

    def switched(self, t_us, closed):
        """The switches as they are, one bit each; t_us is when the first changed."""
        if self.closed is None:
            self.closed = closed
        for i in range(len(self.switches)):
            self._look_at(i, t_us, closed >> i & 1)

    def heard(self, data):
        """Bytes from the host; what is no command is passed over."""
        for byte in data:
            if byte in (10, 13):
                if len(self.command) <= COMMAND:
                    self._obey(self.command)
                self.command = b""
            elif len(self.command) <= COMMAND:
                self.command += bytes([byte])

    def passed(self, now_us):
        """It is now_us: is the converter late, was anything lost?"""
        since_us = (now_us - self.last_us) & CLOCK
        if LATE * self.period_us < since_us < CLOCK // 2:
            self._stands(NOT_READY, now_us)
        if self.lost and self._queue(
            line("K", "lines lost: %d by us %d" % (self.lost, now_us)), 0
        ):
            self.lost = 0

    def wanted_rate(self):
        """The rate that the board shall set now, or 0."""
        wanted, self.wanted_mhz = self.wanted_mhz, 0
        return wanted

    def converts_at(self, rate_mhz, now_us):
        """The converter runs at this rate from now_us on."""
        self._set_rate(rate_mhz, now_us)
        self._say_who()

    def take(self, most):
        """The next bytes to send."""
        said, self.out = self.out[:most], self.out[most:]
        return said

    def _latest(self):
        return (self.next_seq - 1) & 0xFFFF if self.begun else 0

    def _set_rate(self, rate_mhz, now_us):
        self.rate_mhz, self.last_us = rate_mhz, now_us
        self.period_us = 1000000000 // rate_mhz

    def _queue(self, said, keep):
        if said is None or len(self.out) + len(said) + keep > RING:
            return False
        self.out += said
        return True

    def _say(self, said):
        if not self._queue(said, 0):
            self.lost += 1

    def _say_who(self):
        rate = rate_text(self.rate_mhz)
        self._say(line("H", 1, self.name, self.firmware, rate, self.adc_bits, self.boot))

    def _stands(self, bit, t_us):
        if not self.standing & bit:
            self.standing |= bit
            self.fault(t_us, dict(FAULTS)[bit])

    def _conversions_in(self, seconds):
        return max(LEAST_SAME, self.rate_mhz // 1000 * seconds)

    def _watch_range(self, t_us, counts):
        if -self.top < counts < self.top:
            self.at_end = 0
            self.standing &= ~(SATURATED | NO_BRIDGE)
            return
        self._stands(SATURATED, t_us)
        self.at_end += 1
        if self.at_end >= self._conversions_in(2):
            self._stands(NO_BRIDGE, t_us)

    def _watch_same(self, t_us, counts):
        if counts != self.last_counts or self.at_end:
            self.same = 0
            self.standing &= ~STUCK
        else:
            self.same += 1
        self.last_counts = counts
        if self.same >= self._conversions_in(1):
            self._stands(STUCK, t_us)

    def _look_at(self, i, t_us, closed):
        if i in self.bouncing and (t_us - self.told_us[i]) & CLOCK < BOUNCE_US:
            return
        self.bouncing.discard(i)
        if closed == self.closed >> i & 1:
            return
        self.closed ^= 1 << i
        self.bouncing.add(i)
        self.told_us[i] = t_us
        name = self.switches[i][0 if closed else 1]
        if name:
            self._say(named("E", self._latest(), t_us, name))

    def _obey(self, command):
        if command == b"?":
            self._say_who()
            for bit, name in FAULTS:
                if self.standing & bit:
                    self.fault(self.last_us, name)
        elif command[:2] == b"R," and len(command) > 2:
            self._ask_for(_rate_of(command[2:]))
            if not self.wanted_mhz:
                self._say_who()

    def _ask_for(self, rate_mhz):
        needed = bits_per_s(rate_mhz, self.adc_bits)
        if rate_mhz and (rate_mhz >= 10000000 or needed > self.baud // 20 * 19):
            said = "rate refused: it needs bit/s %d, the line has %d" % (needed, self.baud)
            self._say(line("K", said))
        elif rate_mhz in self.rates_mhz:
            self.wanted_mhz = rate_mhz
        else:
            self._say(line("K", "rate refused: the converter has no such rate"))


def _rate_of(text):
    """Thousandths of a hertz of "80" or "92.8"; 0 for anything else."""
    whole, _, rest = text.partition(b".")
    if len(whole) > 6 or len(rest) > 3 or not all(48 <= byte <= 57 for byte in whole + rest):
        return 0
    return int(whole or b"0") * 1000 + int((rest + b"000")[:3])
