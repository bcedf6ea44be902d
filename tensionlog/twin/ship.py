"""The recordings that are shipped as examples, each with its truth beside it.

Workshop, players, frames and strings are invented. The waits between pulls are
shortened, so that a whole bed fits into a small file.
"""

import gzip
import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from tensionlog.twin import faults
from tensionlog.twin.bench import Bench, draw_bench
from tensionlog.twin.check import play_check
from tensionlog.twin.hold import play_hold
from tensionlog.twin.job import play_job
from tensionlog.twin.measure import play_stiffness, play_turn
from tensionlog.twin.played import Played

_DIGITS = 6
_READ_EVERY_S = 0.25


def write_recordings(folder: Path) -> list[Path]:
    """Write every example into `folder`; return the files written.

    Same code, same bytes: the gzip header carries no time.
    """
    written = []
    for name, play in EXAMPLES.items():
        played = play()
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


def _worn() -> Played:
    bench = _small_bench(12, head="lockout")
    worn = replace(bench.clamps["B"], slip_mm=4.2, scatter=0.2)
    return _job(seed=12, bench=bench.with_clamp(worn), crosses=4)


def _dirty() -> Played:
    clean = _job(seed=13, bench=_small_bench(13, head="lockout"), sport="squash", crosses=6)
    kinds: list[faults.Damage] = [
        partial(faults.near_wrap, within_s=60.0),
        partial(faults.restart, at_share=0.45),
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


def _mishaps() -> Played:
    return _job(
        seed=15,
        bench=_small_bench(15, head="lockout"),
        sport="badminton",
        mains=14,
        crosses=9,
        mishaps={
            "L2": "redo",
            "R2": "lift-off",
            "L3": "grip-slip",
            "R3": "early",
            "L4": "undo",
            "R4": "swap",
            "L6": "again",
            "R6": "hold-slip",
            "X2": "no-release",
            "X4": "wrong-clamp",
            "X5": "broke",
            "end": "extra",
        },
    )


def _small_bench(seed: int, *, head: str) -> Bench:
    """A bench whose converter has a coarse step, so that the file packs well."""
    bench = draw_bench(seed, head=head)
    return replace(bench, cell=replace(bench.cell, counts_per_n=250.0, redness=0.0))


EXAMPLES: dict[str, Callable[[], Played]] = {
    "lockout-tennis-job": lambda: _job(seed=9, bench=_small_bench(9, head="lockout")),
    "constant-pull-badminton-job": lambda: _job(
        seed=10,
        bench=_small_bench(10, head="constant-pull"),
        sport="badminton",
        material="polyester",
        crosses=8,
    ),
    "drop-weight-squash-job": lambda: _job(
        seed=11, bench=_small_bench(11, head="drop-weight"), sport="squash", material="gut"
    ),
    "worn-clamp-job": _worn,
    "dirty-line-job": _dirty,
    "plain-sketch-job": lambda: _job(
        seed=14, bench=_small_bench(14, head="lockout"), plain_unit="kgf"
    ),
    "mishaps-job": _mishaps,
    "morning-check": lambda: play_check(
        seed=16,
        bench=_small_bench(16, head="lockout"),
        dials_n=(200.0, 245.0),
        read_every_s=_READ_EVERY_S,
    ),
    "hold-test": lambda: play_hold(
        seed=17, bench=_small_bench(17, head="lockout"), read_every_s=_READ_EVERY_S
    ),
    "turn-test": lambda: play_turn(seed=18, bench=_small_bench(18, head="lockout")),
    "stiffness-test": lambda: play_stiffness(seed=18, bench=_small_bench(18, head="lockout")),
}
"""Name to what is played."""
