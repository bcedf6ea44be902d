"""A season at one bench: checks, hold tests and jobs, and what slowly goes wrong."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

from tensionlog.twin.bench import Bench, draw_bench
from tensionlog.twin.check import play_check
from tensionlog.twin.hold import TEST_LBF, play_hold
from tensionlog.twin.job import play_job
from tensionlog.twin.played import FIRST_DAY, Played, Sitting, write_notes
from tensionlog.twin.rng import stream
from tensionlog.twin.strings import StringLaw, draw_string
from tensionlog.units import N_PER_LBF

CAUSES = ("clamp-A", "clamp-B", "both-clamps", "cell-span", "cell-zero", "head-dial", "string",
          "technique", "reference")  # fmt: skip


_STEPS_PER_S_MM = 0.02
"""Jaws that slip also let go in small sudden steps: so often, per mm of slip."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """Something that goes wrong from a day on.

    Attributes:
        cause: One of `CAUSES`.
        day: First day of it, from 0.
        size: How bad it gets: mm of slip at 250 N (clamps), per cent (`cell-span`,
            `head-dial`, `reference`), N (`cell-zero`), points a decade (`string`),
            points of early clampings (`technique`).
        grows_days: How many days it takes to get there; 0 is at once.
        mended: Day on which it is put right (clamps are cleaned, with a `service` note;
            the cell is calibrated anew), or None.
    """

    cause: str
    day: int
    size: float
    grows_days: int = 0
    mended: int | None = None

    def __post_init__(self) -> None:
        """Refuse a cause nobody models."""
        if self.cause not in CAUSES:
            raise ValueError(
                f"a trouble must be one of {', '.join(CAUSES)}, not {self.cause!r}"
            )

    def size_on(self, day: int) -> float:
        """How bad it is on `day`."""
        if day < self.day or (self.mended is not None and day >= self.mended):
            return 0.0
        return self.size * min(1.0, (day - self.day + 1) / max(1, self.grows_days))


DEFAULT_TROUBLES = (
    Trouble(cause="clamp-B", day=12, size=1.6, grows_days=16, mended=32),
    Trouble(cause="cell-span", day=38, size=0.9, grows_days=6, mended=50),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """What was recorded in a season, oldest first.

    Attributes:
        sittings: (name for a file, what was played).
        truth: The troubles, day by day sizes and services.
    """

    sittings: Sequence[tuple[str, Played]]
    truth: dict[str, Any]


def play_season(
    *,
    seed: int,
    days: int = 60,
    head: str = "lockout",
    sport: str = "tennis",
    rate_hz: float = 80.0,
    jobs_per_day: int = 1,
    mains: int | None = None,
    crosses: int | None = None,
    troubles: Sequence[Trouble] = DEFAULT_TROUBLES,
    pace: float = 0.15,
    clamps_in_turn: bool = False,
    job_every_days: int = 1,
    bench_name: str = "north",
    started: datetime = FIRST_DAY,
) -> Season:
    """Play `days` working days: a check, hold tests of both clamps, jobs.

    Args:
        seed: Same seed, same bytes.
        days: Number of days, Sundays too.
        head: One of `head.HEAD_NAMES`.
        sport: `tennis`, `squash` or `badminton`.
        rate_hz: Nominal sample rate.
        jobs_per_day: Jobs a day.
        mains: Mains of each job; the usual number where None.
        crosses: Crosses of each job; the usual number where None.
        troubles: What goes wrong.
        pace: Scale of the waits; recordings are shorter than life.
        clamps_in_turn: Whether one clamp is hold-tested a day, in turn; else both are.
        job_every_days: Days from one with jobs to the next.
        bench_name: What the bench is called.
        started: Morning of the first day.
    """
    season = _Season(
        seed=seed,
        bench=draw_bench(seed, name=bench_name, head=head, rate_hz=rate_hz),
        reel=draw_string(stream(seed, "control reel"), sport=sport, law="log"),
        sport=sport,
        beds=(mains, crosses),
        troubles=troubles,
        pace=pace,
        clamps_in_turn=clamps_in_turn,
        started=started,
    )
    for day in range(days):
        season.play_day(day, jobs=0 if day % job_every_days else jobs_per_day)
    truth = {
        "troubles": [
            {"cause": t.cause, "day": t.day, "size": t.size, "mended": t.mended}
            for t in troubles
        ],
        "days": season.days,
    }
    return Season(sittings=season.sittings, truth=truth)


@dataclass(slots=True, kw_only=True)
class _Season:
    """A season in the making."""

    seed: int
    bench: Bench
    reel: StringLaw
    sport: str
    beds: tuple[int | None, int | None]
    troubles: Sequence[Trouble]
    pace: float
    clamps_in_turn: bool
    started: datetime
    sittings: list[tuple[str, Played]] = field(default_factory=list)
    days: list[dict[str, Any]] = field(default_factory=list)

    def play_day(self, day: int, *, jobs: int) -> None:
        """Services, the morning, the jobs."""
        bench = self._bench_on(day)
        self._services(bench, day)
        self._morning(bench, day)
        for number in range(jobs):
            self._job(bench, day, number)
        self.days.append(
            {
                "day": day,
                "sizes": {t.cause: t.size_on(day) for t in self.troubles},
                "slip_mm_at_250N": {
                    n: c.typical_slip_mm(250.0) for n, c in bench.clamps.items()
                },
                "span_error_pct": 100.0 * bench.cell.span_error,
            }
        )

    def _size(self, day: int, *causes: str) -> float:
        return sum(t.size_on(day) for t in self.troubles if t.cause in causes)

    def _bench_on(self, day: int) -> Bench:
        bench, size = self.bench, self._size
        cell, rng = bench.cell, stream(self.seed, f"day {day}")
        span = cell.span_error + size(day, "cell-span") / 100.0 + float(rng.normal(0.0, 0.0003))
        known = 1.0 + self._recalibrated(day) / 100.0
        zero = cell.mounting_n + size(day, "cell-zero") + float(rng.normal(0.0, 0.03))
        clamps = {}
        for name, clamp in bench.clamps.items():
            worse = size(day, f"clamp-{name}", "both-clamps")
            clamps[name] = replace(
                clamp, slip_mm=clamp.slip_mm + worse, steps_per_s=_STEPS_PER_S_MM * worse
            )
        early = bench.stringer.early + size(day, "technique") / 100.0
        dial = bench.head.dial_error + size(day, "head-dial") / 100.0
        return replace(
            bench,
            cell=replace(
                cell,
                span_error=span,
                mounting_n=zero,
                counts_per_n=round(cell.counts_per_n * known, 2),
            ),
            clamps=clamps,
            stringer=replace(bench.stringer, early=early),
            head=bench.head.dialled(dial),
            device=replace(bench.device, boot=f"{day + 1:X}"),
        )

    def _recalibrated(self, day: int) -> float:
        """Per cent of span that a new calibration has taken into account by `day`."""
        ended = [t for t in self.troubles if t.mended is not None and t.mended <= day]
        return sum(t.size_on((t.mended or 0) - 1) for t in ended if t.cause == "cell-span")

    def _services(self, bench: Bench, day: int) -> None:
        for trouble in self.troubles:
            if trouble.mended == day and "clamp" in trouble.cause:
                names = "AB" if trouble.cause == "both-clamps" else trouble.cause[-1]
                for name in names:
                    note = {"note": "service", "clamp": name, "what": "cleaned"}
                    at = self._at(day, hour=8.5)
                    sitting = Sitting(purpose="free", started=at)
                    played = write_notes(bench=bench, notes=[(1.0, note)], sitting=sitting)
                    self.sittings.append((f"day{day:03d}-service-{name}", played))

    def _morning(self, bench: Bench, day: int) -> None:
        target_n = TEST_LBF[self.sport] * N_PER_LBF
        check = play_check(
            seed=self._seed(day, 0),
            masses_kg=(10.0, 20.0),
            dials_n=(round(target_n),),
            mass_error_pct=self._size(day, "reference"),
            bench=bench,
            sport=self.sport,
            settle_s=6.0,
            started=self._at(day, hour=9.0),
        )
        self.sittings.append((f"day{day:03d}-check", check))
        for i, name in enumerate(bench.clamps):
            if self.clamps_in_turn and day % len(bench.clamps) != i:
                continue
            hold = play_hold(
                seed=self._seed(day, 1 + i),
                clamp=name,
                bench=bench,
                string=self.reel,
                target_n=target_n,
                span_m=0.62,
                observe_s=8.0,
                started=self._at(day, hour=9.1 + 0.05 * i),
            )
            self.sittings.append((f"day{day:03d}-hold-{name}", hold))

    def _job(self, bench: Bench, day: int, number: int) -> None:
        rng = stream(self._seed(day, 10 + number), "reel")
        string = draw_string(rng, sport=self.sport)
        softer = self._size(day, "string") / 100.0
        job = play_job(
            seed=self._seed(day, 10 + number),
            bench=bench,
            sport=self.sport,
            string=replace(string, relax=string.relax + softer),
            mains=self.beds[0],
            crosses=self.beds[1],
            pace=self.pace,
            started=self._at(day, hour=10.0 + number),
        )
        self.sittings.append((f"day{day:03d}-job{number + 1}", job))

    def _seed(self, day: int, part: int) -> int:
        return (self.seed * 1000 + day) * 100 + part

    def _at(self, day: int, *, hour: float) -> datetime:
        midnight = self.started.replace(hour=0, minute=0)
        return midnight + timedelta(days=day, hours=hour)
