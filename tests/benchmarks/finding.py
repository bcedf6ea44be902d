"""Finding pulls against a peak finder and a change-point search, in speed and in truth."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import numpy as np

from tests.benchmarks.data import Scale
from tests.benchmarks.measured import Row, seconds

_LOADED_N = 12.0
_TENTH = 8  # ruptures is given every eighth sample, or it would take minutes
_PENALTY = 3000.0
_PIECE = 4096


def rows(jobs: Mapping[str, tuple[Path, list[dict]]], scale: Scale) -> Iterator[Row]:
    """Microseconds a sample, and how many true pulls were found."""
    for name, (path, true) in jobs.items():
        if name.endswith("hurried"):
            yield from _of_one(name, path, true, scale)


def _of_one(name: str, path: Path, true: list[dict], scale: Scale) -> Iterator[Row]:
    from scipy.signal import find_peaks

    from tensionlog.pulls.finder import StretchFinder

    t_s, counts, n_per_count, rate_hz = _samples(path)
    force_n = (counts - np.median(counts[:80])) * n_per_count

    def ours() -> list[tuple[float, float]]:
        finder = StretchFinder(newtons_per_count=n_per_count, rate_hz=rate_hz)
        found = []
        for at in range(0, len(t_s), _PIECE):  # as a replay gives them
            part = slice(at, at + _PIECE)
            found += finder.push_many(0, t_s[part], counts[part])
        found.append(finder.interrupt())
        return [(s.t_s[s.first], s.t_s[s.last]) for s in found if s is not None]

    def peaks() -> list[tuple[float, float]]:
        at, _ = find_peaks(force_n, height=_LOADED_N, distance=round(rate_hz))
        return [(t_s[i], t_s[i]) for i in at]

    took = seconds(ours, peaks, times=scale.times)
    us = [s / len(t_s) * 1e6 for s in took]
    spans = [(pull["start_s"], pull["let_off_s"]) for pull in true]
    mine, others = _score(ours(), spans), _score(peaks(), spans)
    yield Row(
        group="find pulls", what=f"{name}: {mine}", figure=us[0], unit="µs a sample",
        peer=f"scipy find_peaks ({others})", peer_figure=us[1],
    )  # fmt: skip
    change = _change_points(t_s, force_n)
    if change is not None:
        spent_s, spans_found = change
        yield Row(
            group="find pulls", what=f"{name}: {mine}", figure=us[0], unit="µs a sample",
            peer=f"ruptures Pelt l2 ({_score(spans_found, spans)})",
            peer_figure=spent_s / len(t_s) * 1e6, note=f"given every {_TENTH}th sample",
        )  # fmt: skip


def _change_points(t_s: np.ndarray, force_n: np.ndarray) -> tuple[float, list] | None:
    try:
        import ruptures
    except ImportError:
        return None
    few, few_t = force_n[::_TENTH], t_s[::_TENTH]
    found: list = []

    def search() -> None:
        ends = ruptures.Pelt(model="l2", jump=2, min_size=4).fit(few).predict(pen=_PENALTY)
        begins = [0, *ends[:-1]]
        loaded = [
            (a, b) for a, b in zip(begins, ends, strict=True) if few[a:b].mean() > _LOADED_N
        ]
        found[:] = [(few_t[a], few_t[b - 1]) for a, b in loaded]

    (spent_s,) = seconds(search, times=1)
    return spent_s, found


def _score(found: Sequence[tuple[float, float]], true: Sequence[tuple[float, float]]) -> str:
    """How many pulls are hit, and how many finds there were."""
    hit = sum(any(a <= end and b >= begin for a, b in found) for begin, end in true)
    return f"{hit} of {len(true)} in {len(found)} finds"


def _samples(path: Path) -> tuple[np.ndarray, np.ndarray, float, float]:
    from tensionlog.model.recording import Note
    from tensionlog.sources import open_recording
    from tensionlog.timeline import Readings, Timeline, joined
    from tensionlog.wire import LineDecoder

    reader, decoder = open_recording(path), LineDecoder()
    header = reader.header
    line = Timeline(
        rate_hz=header.rate_hz, adc_bits=header.adc_bits, started_s=header.started.timestamp()
    )
    pieces = []
    for item in reader.pieces():
        if not isinstance(item, Note):
            columns = decoder.columns(item.data)
            events = line.feed_columns(columns, begins=item.begins, at_s=item.at_s)
            pieces += [event for event in joined(events) if isinstance(event, Readings)]
    slope = header.calibration.newtons_per_count(0.0)
    return (
        np.concatenate([piece.t_s for piece in pieces]),
        np.concatenate([piece.counts for piece in pieces]),
        slope,
        header.rate_hz,
    )
