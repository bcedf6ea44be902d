"""The clamps: what each one holds, how that changes, which is at fault, what to do.

One test, arrays in and a result with its pinned `answer()` out:

* `hold`       a hold test: loss, flex, slip, creep, stick-slip
* `turn`       what passes round one turn of a frame
* `stiffness`  what a millimetre of string costs
* `evidence`   what the releases of one job say, the unseen ones as limits;
  `level_over_jobs(jobs=…, days=…, clamp=…)` what those of many jobs say together

Over weeks, plain records in and the state of the bench out, all of it pure:

* `records`    in: `Checked`, `Dialled`, `Tested`, `Strung`, `Served`, `Told`, each with
  `recording_s` and `at_s`; `checked_of`, `dialled_of`, `tested_of` make them of the
  stored answers (`check`, `head`, `hold`), `strung_of` of a job and its pulls
* `status`     `status_of(records, at_s=…)`: clamps, cell, head and alerts on a day;
  `.answer()` is what `status --json` prints. A day in the past gives the bench as it was
  known then (a racket that came back)
* `watch`      `alerts_of(records)`: every alert ever raised; `alerts_after(alerts,
  records, recording_s=…)`: the same one recording further, for a database that keeps
  alerts; `raised_s` is the time of the recording that raised it, and names the alert
* `histories`  `series_of(records)`: every series by name, services as marks
* `series`     `chart(series, limit=…)`: level, spread, trend, changes, when a limit is due
* `services`   `effect_of(series, service_s)`: whether a service helped, and how long
* `causes`     `who_did_it(series, at_s)`: the cause, the runner-up, what would tell
* `alerts`     the life of one: raised, seen, acted on, closed by a test, opened again
* `words`      all of it for people
"""
