"""A job: every string of a bed, pulled, released and clamped by a human."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from tensionlog.twin.bench import Bench, draw_bench
from tensionlog.twin.played import FIRST_DAY, Played, Script, Sitting, write_down
from tensionlog.twin.rng import stream
from tensionlog.twin.stringing import Stringing
from tensionlog.twin.strings import StringLaw, draw_string
from tensionlog.twin.ticket import draw_ticket


def play_job(
    *,
    seed: int,
    sport: str = "tennis",
    head: str = "lockout",
    material: str = "nylon",
    rate_hz: float = 80.0,
    bench: Bench | None = None,
    string: StringLaw | None = None,
    ticket: Mapping[str, Any] | None = None,
    mains: int | None = None,
    crosses: int | None = None,
    mishaps: Mapping[str, str] | None = None,
    at_most: int | None = None,
    pace: float = 1.0,
    started: datetime = FIRST_DAY,
    plain_unit: str | None = None,
    read_every_s: float = 0.1,
) -> Played:
    """Play one job and write it down.

    Args:
        seed: Same seed, same bytes. Another rate leaves what the hands do alone.
        sport: `tennis`, `squash` or `badminton`.
        head: One of `head.HEAD_NAMES`; not looked at where `bench` is given.
        material: `nylon`, `polyester` or `gut`.
        rate_hz: Nominal sample rate, 10…1280; not looked at where `bench` is given.
        bench: The bench; drawn from `seed` where None.
        string: The string; drawn from `seed` where None.
        ticket: Keys that stand in place of the drawn ticket's.
        mains: Number of mains in place of the drawn ticket's.
        crosses: Number of crosses in place of the drawn ticket's.
        mishaps: Position to one of `mishap.MISHAPS`.
        at_most: The sitting is broken off after so many pulls, without `job-end`.
        pace: Scale of the waits between pulls; below 1 the stringer hurries.
        started: Host time at which the recording was opened.
        plain_unit: `N`, `kgf` or `lbf` for another sketch's plain lines.
        read_every_s: How often the host reads the port.
    """
    bench = bench or draw_bench(seed, head=head, rate_hz=rate_hz)
    rng = stream(seed, "ticket")
    job = draw_ticket(rng, sport=sport, material=material, mains=mains, crosses=crosses)
    drawn = draw_string(rng, sport=sport, material=material)
    string = string or drawn
    job["EA_N"] = round(string.ea_n * float(rng.normal(1.0, 0.12)), -1)
    stringing = Stringing(
        bench=bench,
        job=job | dict(ticket or {}),
        string=string,
        rng=stream(seed, "hands"),
        pace=pace,
        mishaps=dict(mishaps or {}),
        at_most=at_most,
    )
    stringing.play()
    sitting = Sitting(
        purpose="job", started=started, plain_unit=plain_unit, read_every_s=read_every_s
    )
    return write_down(bench=bench, script=_script(stringing), sitting=sitting, seed=seed)


def _script(stringing: Stringing) -> Script:
    bench, course = stringing.bench, stringing.course
    truth = {
        "pulls": stringing.pulls,
        "string": stringing.string.truth(),
        "friction": {"rest": bench.friction.rest, "shaken": bench.friction.shaken},
        "clamps": {name: clamp.truth() for name, clamp in bench.clamps.items()},
        "uses": dict(stringing.uses),
    }
    return Script(
        force_n=course.force_n(), notes=course.notes, events=course.events, truth=truth
    )
