"""The clamps: what each one holds, how that changes, which is at fault, what to do.

One test:

* `hold`       a hold test: loss, flex, slip, creep, stick-slip
* `turn`       what passes round one turn of a frame
* `stiffness`  what a millimetre of string costs

Many:

* `evidence`   what the releases of jobs say, the unseen ones as limits
* `histories`  hold tests and services as series
* `series`     level, trend, changes, when a limit is due
* `causes`     who did it, and who else it could have been
* `alerts`     raised, seen, acted on, closed by a test that shows the cure
* `services`   whether a service helped, and for how long
"""
