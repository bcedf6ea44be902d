"""What a device at the other end of the cable is like: arrays and lines in, findings out.

* `heard`      what a while of listening gave
* `identity`   who answers, and in which version of the wire
* `rates`      what a line can carry
* `noise`      noise and drift of the empty cell
* `hum`        the mains in the spectrum, folded down by the sample rate
* `spikes`     single readings thrown off, as motors do
* `pull`       what a pull by hand says: alive, dead, or the wrong way round
* `budget`     the noise that converter, bridge and steps must have, volts to newtons
* `clock`      true rate, and the error of the device's clock
* `diagnosis`  all of it together, as findings
* `words`      the findings in words
"""
