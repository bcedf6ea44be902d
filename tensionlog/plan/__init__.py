"""From the ticket and the operator's notes to the place of every pull.

* `ticket`    the `job-start` note as a `Job`: order of positions, spans, clamps
* `tensions`  tensions as people write them
* `course`    walks pulls and notes in time order and gives each pull its place
"""

from tensionlog.plan.course import Placed, Step, place_pulls
from tensionlog.plan.tensions import tensions
from tensionlog.plan.ticket import read_ticket, spans_of

__all__ = ["Placed", "Step", "place_pulls", "read_ticket", "spans_of", "tensions"]
