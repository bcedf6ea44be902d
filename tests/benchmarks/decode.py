"""Decoding the wire against readers of separated values, which check no checksum."""

import csv
import io
from collections.abc import Iterator

from tests.benchmarks.data import Scale, stream
from tests.benchmarks.measured import Row, seconds

_BLOCK = 1 << 17


def rows(scale: Scale) -> Iterator[Row]:
    """Million lines a second of this product against three readers and two floors."""
    import pandas as pd
    import pyarrow.csv as pa_csv

    from tensionlog.wire import LineDecoder

    data = stream(scale.lines)
    text = data.decode()
    names = ["kind", "seq", "t_us", "counts"]

    def columns() -> None:
        decoder = LineDecoder()
        found = [
            len(decoder.columns(data[at : at + _BLOCK]).seq)
            for at in range(0, len(data), _BLOCK)
        ]
        assert sum(found) == scale.lines

    def lines() -> None:
        assert len(LineDecoder().feed(data)) == scale.lines

    def arrow() -> None:
        options = pa_csv.ReadOptions(column_names=names, use_threads=False)
        assert pa_csv.read_csv(io.BytesIO(data), read_options=options).num_rows == scale.lines

    def pandas() -> None:
        assert len(pd.read_csv(io.BytesIO(data), header=None, names=names)) == scale.lines

    def stdlib() -> None:
        assert sum(1 for _ in csv.reader(io.StringIO(text))) == scale.lines

    def split() -> None:
        assert len(data.split(b"\n")) == scale.lines + 1

    def scan() -> None:
        assert data.count(b"\n") == scale.lines

    works = (columns, lines, arrow, pandas, stdlib, split, scan)
    took = [scale.lines / s / 1e6 for s in seconds(*works, times=scale.times) if s > 0.0]
    ours, singly, *others = took
    names = ["pyarrow.csv", "pandas.read_csv", "csv.reader", "bytes.split", "bytes.count"]
    for name, other in zip(names, others, strict=True):
        note = "floor" if name.startswith("bytes") else "it checks no CRC"
        yield Row(
            group="decode", what="columns, every CRC checked", figure=ours,
            unit="M lines/s", peer=name, peer_figure=other, note=note,
        )  # fmt: skip
    yield Row(
        group="decode", what="line by line", figure=singly, unit="M lines/s",
        peer="columns", peer_figure=ours,
    )  # fmt: skip
