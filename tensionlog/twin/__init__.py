"""A stringing bench made of numbers: seeded, imperfect, and it knows the truth.

Every play returns a recording as a host would have written it and, beside it, what
really happened. Workshop, players, frames and strings are invented.

* `play_job`        a bed of strings on one of three heads
* `play_check`      masses on the cell, then the head's dial
* `play_hold`       a clamp hold test, with the second pull that parts flex from slip
* `play_turn`       what passes round one frame turn
* `play_stiffness`  the anchor moved by a known length
* `play_season`     weeks of all that, with what slowly goes wrong
* `faults`          damage to a stream, with a ledger
* `pty_link`        the same bytes on a pseudo-terminal, at any speed
* `network_link`    the same behind a socket, where there are no pseudo-terminals
"""

from tensionlog.twin.bench import Bench, draw_bench
from tensionlog.twin.check import play_check
from tensionlog.twin.hold import play_hold
from tensionlog.twin.job import play_job
from tensionlog.twin.measure import play_stiffness, play_turn
from tensionlog.twin.played import Played
from tensionlog.twin.season import Season, Trouble, play_season

__all__ = [
    "Bench",
    "Played",
    "Season",
    "Trouble",
    "draw_bench",
    "play_check",
    "play_hold",
    "play_job",
    "play_season",
    "play_stiffness",
    "play_turn",
]
