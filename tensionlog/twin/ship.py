"""The recordings that are shipped as examples, each with its truth beside it.

Workshop, players, frames and strings are invented. The waits between pulls are
shortened, so that a whole bed fits into a small file.
"""

import gzip
import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

from tensionlog.twin import faults
from tensionlog.twin.bench import Bench, draw_bench
from tensionlog.twin.check import play_check
from tensionlog.twin.hold import play_hold
from tensionlog.twin.job import play_job
from tensionlog.twin.measure import play_stiffness, play_turn
from tensionlog.twin.played import FIRST_DAY, Played
from tensionlog.twin.ticket import BENCH_NAMES

_DIGITS = 6
_READ_EVERY_S = 0.25


def write_recordings(folder: Path) -> list[Path]:
    """Write every example into `folder`; return the files written.

    Same code, same bytes: the gzip header carries no time.
    """
    written = []
    for hour, (name, play) in enumerate(EXAMPLES.items()):
        # Recordings are told apart by bench and start, so no two may share both.
        played = play(FIRST_DAY + timedelta(hours=hour))
        packed = folder / f"{name}.rec.gz"
        packed.write_bytes(gzip.compress(played.recording, 9, mtime=0))
        truth = folder / f"{name}.truth.json"
        truth.write_text(truth_text(played.truth), encoding="utf-8")
        written += [packed, truth]
    return written


def truth_text(truth: Mapping[str, Any]) -> str:
    """The truth as JSON, numbers rounded to what is worth reading."""
    return json.dumps(_rounded(truth), indent=1, sort_keys=True) + "\n"


def _rounded(content: Any) -> Any:
    if isinstance(content, float):
        return round(content, _DIGITS)
    if isinstance(content, Mapping):
        return {key: _rounded(inner) for key, inner in content.items()}
    if isinstance(content, list | tuple):
        return [_rounded(inner) for inner in content]
    return content


_job = partial(play_job, pace=0.0, read_every_s=_READ_EVERY_S)


def _worn(started: datetime) -> Played:
    bench = _slipping(_even_bench(12), clamps="B", slip_mm=4.2)
    return _job(started=started, seed=12, bench=bench, at_most=16)


def _dirty(started: datetime) -> Played:
    clean = _job(started=started, seed=13, bench=_even_bench(13), sport="squash", at_most=17)
    kinds: list[faults.Damage] = [
        partial(faults.near_wrap, within_s=60.0),
        partial(faults.restart, at_share=0.4645),
        partial(faults.lose_lines, share=0.004),
        partial(faults.lose_run, samples=70),
        partial(faults.garble, share=0.004),
        partial(faults.cut_mid_line, times=5),
        partial(faults.noise_burst, times=6),
        partial(faults.duplicate, share=0.002),
        partial(faults.spikes, share=0.001),
        partial(faults.saturate, samples=12),
    ]
    return faults.spoil(clean, seed=13, kinds=kinds)


def _mishaps(started: datetime) -> Played:
    """Ten mains, of which one breaks; the bed begun again is broken off."""
    mishaps = {
        "L2": "redo",
        "R2": "lift-off",
        "L3": "early",
        "R3": "swap",
        "L4": "grip-slip",
        "R4": "again",
        "L5": "undo",
        "R5": "broke",
    }
    bench = _even_bench(15)
    return _job(
        started=started,
        seed=15,
        bench=bench,
        sport="badminton",
        mains=10,
        mishaps=mishaps,
        at_most=18,
    )


def _even_bench(seed: int, *, head: str = "lockout", rate_hz: float = 80.0) -> Bench:
    """A bench whose converter has a coarse step and whose clock is even: it packs well."""
    bench = draw_bench(seed, name=BENCH_NAMES[head], head=head, rate_hz=rate_hz)
    cell = replace(bench.cell, counts_per_n=250.0, redness=0.0)
    device = replace(bench.device, true_rate_hz=rate_hz, ppm=0.0, jitter_us=0.0)
    return replace(bench, cell=cell, device=device)


def _slipping(bench: Bench, *, clamps: str, slip_mm: float) -> Bench:
    for name in clamps:
        bench = bench.with_clamp(replace(bench.clamps[name], slip_mm=slip_mm))
    return bench


def _tennis(started: datetime) -> Played:
    return _job(started=started, seed=9, bench=_even_bench(9, rate_hz=40.0))


def _badminton(started: datetime) -> Played:
    bench = _slipping(_even_bench(10, head="constant-pull"), clamps="AB", slip_mm=3.0)
    return _job(
        started=started,
        seed=10,
        bench=bench,
        sport="badminton",
        material="polyester",
        at_most=16,
    )


def _squash(started: datetime) -> Played:
    bench = _even_bench(11, head="drop-weight", rate_hz=40.0)
    bench = _slipping(bench, clamps="A", slip_mm=2.5)
    return _job(
        started=started, seed=11, bench=bench, sport="squash", material="gut", at_most=28
    )


def _plain(started: datetime) -> Played:
    return _job(started=started, seed=14, bench=_even_bench(14), plain_unit="kgf")


def _check(started: datetime) -> Played:
    bench = _even_bench(16)
    return play_check(
        started=started,
        seed=16,
        bench=bench,
        dials_n=(200.0, 245.0),
        read_every_s=_READ_EVERY_S,
    )


def _hold(started: datetime) -> Played:
    return play_hold(
        started=started, seed=17, bench=_even_bench(17), read_every_s=_READ_EVERY_S
    )


EXAMPLES: dict[str, Callable[[datetime], Played]] = {
    "lockout-tennis-job": _tennis,
    "constant-pull-badminton-job": _badminton,
    "drop-weight-squash-job": _squash,
    "worn-clamp-job": _worn,
    "dirty-line-job": _dirty,
    "plain-sketch-job": _plain,
    "mishaps-job": _mishaps,
    "morning-check": _check,
    "hold-test": _hold,
    "turn-test": lambda at: play_turn(started=at, seed=18, bench=_even_bench(18)),
    "stiffness-test": lambda at: play_stiffness(started=at, seed=18, bench=_even_bench(18)),
}
"""Name to what is played, given when; each has an hour of its own."""
