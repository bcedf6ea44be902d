"""Bytes to device lines and back; no port, no file, no clock.

* `lines`    one line: `encode` and `decode_line` side by side
* `decoder`  a stream of bytes, cut anywhere, to lines
* `plain`    the same for another sketch's plain lines
"""

from tensionlog.wire.decoder import LineDecoder
from tensionlog.wire.lines import MAX_LINE_BYTES, decode_line, encode
from tensionlog.wire.plain import PlainDecoder

__all__ = ["MAX_LINE_BYTES", "LineDecoder", "PlainDecoder", "decode_line", "encode"]
