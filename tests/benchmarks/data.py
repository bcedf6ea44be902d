"""What is measured on: recordings of the twin, everything seeded."""

from dataclasses import dataclass
from functools import partial
from pathlib import Path

HEADS = ("lockout", "constant-pull", "drop-weight")
_SEED = 61_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """How much is measured.

    Attributes:
        lines: Sample lines to decode.
        strings: Strings of a job, None for a whole bed.
        pace: Scale of the waits between pulls: 1 hurries, 2.6 is some 40 minutes a bed.
        rows: Rows of the store.
        live_s: Seconds of a live sitting.
        times: How often each is measured.
    """

    lines: int
    strings: int | None
    pace: float
    rows: int
    live_s: float
    times: int


FULL = Scale(lines=200_000, strings=None, pace=2.6, rows=2000, live_s=120.0, times=3)
QUICK = Scale(lines=20_000, strings=4, pace=0.3, rows=50, live_s=10.0, times=1)


def stream(lines: int) -> bytes:
    """Sample lines as a device at 80/s sends them."""
    from tensionlog.model.lines import Sample
    from tensionlog.wire import encode

    return b"".join(
        encode(Sample(i & 0xFFFF, (4_200_000_000 + i * 12_500) & 0xFFFFFFFF, 84_122 + i % 77))
        for i in range(lines)
    )


def jobs(folder: Path, scale: Scale) -> dict[str, tuple[Path, list[dict]]]:
    """Recordings of jobs and their true pulls: each head, clean and dirty, calm and hurried."""
    from tensionlog.twin import play_job
    from tensionlog.twin.faults import garble, lose_lines, spoil

    dirt = [partial(lose_lines, share=0.01), partial(garble, share=0.01)]
    made = {}
    for head in HEADS:
        play = partial(
            play_job, seed=_SEED, sport="badminton", head=head, at_most=scale.strings
        )
        calm, dense = play(pace=scale.pace), play(pace=0.0, read_every_s=0.02)
        for name, played in (
            (f"{head}, calm", calm),
            (f"{head}, calm, 1 % lost and 1 % garbled", spoil(calm, seed=1, kinds=dirt)),
            (f"{head}, hurried", dense),
            (f"{head}, hurried, 1 % lost and 1 % garbled", spoil(dense, seed=2, kinds=dirt)),
        ):
            path = (
                folder / f"{name.replace(', ', '-').replace(' ', '-').replace('%', 'pct')}.rec"
            )
            path.write_bytes(played.recording)
            made[name] = (path, played.truth["pulls"])
    return made
