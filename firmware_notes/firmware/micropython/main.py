"""A board's layer for MicroPython with `machine` (a controller of two cores and 100 MHz or
more); not run in any test, since no test has the board. The core beside it is.

    data of the converter 2, clock 3, rate pin 4, levers of clamps A and B on 6 and 7
"""

import gc
import sys
import time

import machine
import select
from tension_device import Device

FAST_MHZ, SLOW_MHZ = 80000, 10000
data = machine.Pin(2, machine.Pin.IN, machine.Pin.PULL_UP)
clock = machine.Pin(3, machine.Pin.OUT, value=0)
fast = machine.Pin(4, machine.Pin.OUT, value=1)
levers = [machine.Pin(n, machine.Pin.IN, machine.Pin.PULL_UP) for n in (6, 7)]
watchdog = machine.WDT(timeout=1000)
ready = [0, 0]  # when, how often


def was_ready(_):
    ready[0] = time.ticks_us()
    ready[1] += 1


def fetch():
    """24 pulses, then one more for the same gain; the clock is never high for long."""
    code = 0
    for _ in range(25):
        state = machine.disable_irq()
        clock.value(1)
        bit = data.value()
        clock.value(0)
        machine.enable_irq(state)
        code = code << 1 | bit
    code >>= 1
    return code - (1 << 24) if code & 0x800000 else code


class Clock:
    """Microseconds of 32 bits; ticks_us wraps earlier."""

    def __init__(self):
        self.us, self.ticks = 0, time.ticks_us()

    def at(self, ticks):
        self.us = (self.us + time.ticks_diff(ticks, self.ticks)) & 0xFFFFFFFF
        self.ticks = ticks
        return self.us


def next_boot():
    """Counted in a file, so that it changes at every start."""
    try:
        with open("boot") as file:
            boot = (int(file.read()) + 1) & 0xFFFF
    except (OSError, ValueError):
        boot = 1
    with open("boot", "w") as file:
        file.write(str(boot))
    return "%04X" % boot


def main(name):
    switches = [("shut-A", "open-A"), ("shut-B", "open-B")]
    rates = (SLOW_MHZ, FAST_MHZ)
    device = Device(name, next_boot(), "started", rates, FAST_MHZ, switches)
    now = Clock()
    host = select.poll()
    host.register(sys.stdin, select.POLLIN)
    data.irq(was_ready, machine.Pin.IRQ_FALLING)
    while True:
        watchdog.feed()
        if ready[1]:
            at, often = ready[0], ready[1]
            data.irq(None)  # the data line is also the data
            device.missed(often - 1)
            device.converted(now.at(at), fetch())
            ready[1] = 0
            data.irq(was_ready, machine.Pin.IRQ_FALLING)
            gc.collect()
        closed = sum((1 - pin.value()) << i for i, pin in enumerate(levers))
        device.switched(now.at(time.ticks_us()), closed)
        if host.poll(0):
            device.heard(sys.stdin.buffer.read(1))
        wanted = device.wanted_rate()
        if wanted:
            fast.value(wanted == FAST_MHZ)
            device.converts_at(wanted, now.at(time.ticks_us()))
        device.passed(now.at(time.ticks_us()))
        sys.stdout.buffer.write(device.take(64))


main("cell-north")  # a name of its own
