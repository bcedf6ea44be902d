"""The morning check: from samples and named loads to errors, uncertainty and a verdict.

* `analysis.analyse_check`     a whole check: samples, named loads, a calibration
* `calibrate.calibrate`        five loads, three runs: counts against force, with covariance;
                               its result's `read_back(counts)` is the inverse, and
                               `u_force_n(force_n)` what a force read with it is worth
* `calibrate.calibration_from_record`  the same from what the database keeps
* `head.analyse_head`          dial against cell; `.dial_table` says what to dial
* `drift.watch`                one series over the mornings: alarm, size, since, trend
* `stable.StableReading`       a reading that comes to rest, sample by sample
* `gravity`, `reference`       what force a mass is, and its doubt
* `verdict.judge`              the guard band

The general fits and charts beneath are in `tensionlog.stats`.
"""
