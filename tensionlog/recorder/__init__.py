"""Write recordings: bytes as they came, first of all, and never twice.

* `weave`     where host lines may stand between the device's bytes
* `disk`      everything asked of the machine, so that a test can fail the n-th call
* `segment`   one file of a sitting
* `ring`      what may have to be written once more
* `recorder`  append, make durable, go on in a new file after an error
* `compress`  a finished recording to `.rec.gz`
"""

from tensionlog.recorder.compress import compress_finished
from tensionlog.recorder.disk import Disk, space_warning
from tensionlog.recorder.recorder import Recorder
from tensionlog.recorder.state import RecorderState

__all__ = ["Disk", "Recorder", "RecorderState", "compress_finished", "space_warning"]
