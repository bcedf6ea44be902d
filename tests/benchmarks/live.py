"""What a live sitting costs: bytes recorded, decoded, placed and searched as they come."""

from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.benchmarks.data import Scale, stream
from tests.benchmarks.measured import Row, seconds

_READ_S = 0.05


def rows(scale: Scale) -> Iterator[Row]:
    """Share of one processor at two rates; the port itself and the screen are left out."""
    from tensionlog.model.recording import Arrival
    from tensionlog.pipeline.sitting import Sitting
    from tensionlog.recorder import Recorder
    from tensionlog.sources.recording import open_recording

    for rate_hz in (80, 1280):
        n = round(scale.live_s * rate_hz)
        lines = stream(n).splitlines(keepends=True)
        per_read = max(1, round(_READ_S * rate_hz))
        reads = [b"".join(lines[at : at + per_read]) for at in range(0, n, per_read)]

        def sit(reads: list[bytes] = reads, rate_hz: int = rate_hz) -> None:
            header = {
                "bench": "bench", "purpose": "job", "rate_hz": rate_hz, "adc_bits": 24,
                "calibration": {"zero_counts": 84_122, "counts_per_N": 9000.0},
            }  # fmt: skip
            with TemporaryDirectory() as folder, Recorder(Path(folder), header) as recorder:
                sitting = Sitting(open_recording(recorder.path).header)
                for read in reads:
                    for item in recorder.received(read):
                        if isinstance(item, bytes):
                            sitting.feed(item)
                        elif isinstance(item, Arrival):
                            sitting.arrived(item.at_s)

        def split(reads: list[bytes] = reads) -> None:
            for read in reads:
                read.split(b"\n")

        ours, floor = seconds(sit, split, times=scale.times)
        yield Row(
            group="live", what=f"{rate_hz} samples/s, read every {_READ_S * 1000:.0f} ms",
            figure=100.0 * ours / scale.live_s, unit="% of a processor",
            peer="splitting the lines", peer_figure=100.0 * floor / scale.live_s,
        )  # fmt: skip
