"""The nouns: frozen records that the rooms hand to one another.

* `lines`      what a device may say on the wire, and what damage looks like
* `recording`  header, calibration, notes and arrivals of one sitting
* `job`        the ticket of a job
* `pull`       one pull of one string, as found and as judged
* `guide`      what a guided test says and asks
* `history`    what a bench has shown day by day, and the life of its alerts
"""
