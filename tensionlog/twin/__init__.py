"""A stringing bench made of numbers: seeded, imperfect, and it knows the truth.

* `play_job`     a bed of strings on one of three heads
"""

from tensionlog.twin.bench import Bench, draw_bench
from tensionlog.twin.job import play_job
from tensionlog.twin.played import Played

__all__ = ["Bench", "Played", "draw_bench", "play_job"]
