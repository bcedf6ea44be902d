"""Sixty invented days at one bench: what `demo --season` plays, stores and reports."""

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tensionlog.cli.clamps import write_clamps
from tensionlog.cli.say import json_line, progress
from tensionlog.errors import TensionlogError

if TYPE_CHECKING:
    from tensionlog.twin.season import Season

DAYS = 60
MAINS, JOB_EVERY_DAYS = 8, 3
"""Jobs of eight mains every third day, and one clamp a day in turn, so that sixty days take
less than a minute."""


def play(folder: Path, *, seed: int, days: int = DAYS, as_json: bool = False) -> dict[str, Any]:
    """Play a season into a folder, store it by the usual way, and write its page.

    Args:
        folder: Where its recordings, database and page go.
        seed: Same seed, same bytes.
        days: How many days.
        as_json: Whether the status is printed as JSON.

    Returns:
        How the bench stands at the end.
    """
    from tensionlog.twin.season import play_season

    season = play_season(
        seed=seed,
        days=days,
        sport="badminton",
        mains=MAINS,
        crosses=0,
        job_every_days=JOB_EVERY_DAYS,
        clamps_in_turn=True,
    )
    click.echo("\n".join(_invented(season, days)), err=True)
    paths = list(_written(season, folder / "recordings"))
    answer, page = _stored(paths, folder)
    if as_json:
        json_line(answer)
    else:
        from tensionlog.report.status import status_lines

        click.echo("\n".join(status_lines(answer, closed=True)))
    click.echo(
        f"\nThe whole season on one page: {page}\n"
        f"As it stood on a day: tensionlog status --db {folder / 'season.db'} --at 2026-04-01",
        err=True,
    )
    return answer


def _invented(season: "Season", days: int) -> Iterator[str]:
    yield (
        f"{days} invented days at a bench made of numbers: a check each morning, a clamp "
        "hold-tested in turn,\na short job every third day. What goes wrong, and is told "
        "to nobody:"
    )
    for trouble in season.truth["troubles"]:
        mended = trouble["mended"]
        put_right = "" if mended is None else f", put right on day {mended}"
        yield f"  {trouble['cause']} from day {trouble['day']}{put_right}"


def _written(season: "Season", folder: Path) -> Iterator[Path]:
    """The recordings as files."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, played in season.sittings:
            path = folder / f"{name}.rec"
            path.write_bytes(played.recording)
            yield path
    except OSError as error:
        raise TensionlogError(
            f"cannot write {folder}: {error.strerror or error}. Choose another --folder."
        ) from error


def _stored(paths: list[Path], folder: Path) -> tuple[dict[str, Any], Path]:
    """Replay the recordings into the season's database, and write the bench's page."""
    from tensionlog.pipeline.bench_view import bench_view
    from tensionlog.pipeline.replay import Replayed, replay_all
    from tensionlog.report.clamp_page import clamp_page
    from tensionlog.store import Store

    total = sum(path.stat().st_size for path in paths)
    with Store(folder / "season.db") as store, progress(total, "reading") as bar:
        for item in replay_all(paths, store=store, on_bytes=bar.update):
            if not isinstance(item, Replayed):
                raise item
        bench = store.history.benches()[-1]
        view = bench_view(store, bench, at=datetime.now().astimezone())
    page = write_clamps(clamp_page(view), bench, folder)
    return dict(view.status), page
