"""Where bytes come from: a port or a recording. The only rooms that read them.

* `recording`    a `.rec` or `.rec.gz`, as device bytes, arrival times and notes
* `serial_port`  a port; the only user of pyserial (imported by its full name)
"""

from tensionlog.sources.recording import RecordingReader, open_recording

__all__ = ["RecordingReader", "open_recording"]
