"""`tensionlog report`: what a job's strings were pulled to, on one page."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tensionlog.cli import options
from tensionlog.cli.say import json_line
from tensionlog.errors import StoreError, UsageError

if TYPE_CHECKING:
    from tensionlog.report.check_view import CheckView
    from tensionlog.report.view import JobView
    from tensionlog.store import Store, StoredJob


@click.command(short_help="Write the report of a job as one HTML page.")
@options.needed_db
@click.option("--job", "ref", help="The workshop's reference; without it, the latest job.")
@click.option("--bed", type=click.IntRange(min=1), help="Which bed of that job; else the last.")
@click.option("--check", is_flag=True, help="The latest morning check in place of a job.")
@click.option("--bench", help="Whose check; else that of the latest one.")
@options.unit
@click.option("--out", type=click.Path(path_type=Path), help="File or folder of the page.")
@click.option("--pull", help="One pull alone, such as R5 or its number; with --svg.")
@click.option("--svg", type=click.Path(path_type=Path), help="File of that pull's picture.")
@options.as_json
def report(
    db: Path,
    ref: str | None,
    bed: int | None,
    check: bool,
    bench: str | None,
    unit: str,
    out: Path | None,
    pull: str | None,
    svg: Path | None,
    as_json: bool,
) -> None:
    """Write the report of a job, or of a morning check: one HTML page that loads nothing.

    Prints a summary, or the same numbers as JSON; with --json a page is written only
    where --out says so. With --pull and --svg only that pull's picture is written.
    """
    if (pull is None) != (svg is None):
        raise UsageError(
            "--pull and --svg go together: which pull, and the file to draw it in."
        )
    if check:
        _report_check(db, bench, unit, out, as_json)
        return
    from tensionlog.pipeline.views import job_view
    from tensionlog.report.answer import job_json
    from tensionlog.report.summary import summary
    from tensionlog.store import Store

    with Store(db, must_exist=True) as store:
        view = job_view(store, _job(store, ref, bed), unit=unit)
    if pull is not None and svg is not None:
        _write_picture(view, pull, svg, as_json)
        return
    written = None if as_json and out is None else write_page(view, out)
    if as_json:
        json_line(job_json(view))
    else:
        click.echo(summary(view), nl=False)
    if written is not None:
        click.echo(f"Report: {written}", err=as_json)


def _report_check(
    db: Path, bench: str | None, unit: str, out: Path | None, as_json: bool
) -> None:
    """The page of the latest check, and its numbers on stdout."""
    from tensionlog.pipeline.answers import clean
    from tensionlog.pipeline.check_views import check_view
    from tensionlog.report.check_text import check_text
    from tensionlog.store import Store

    with Store(db, must_exist=True) as store:
        view = check_view(store, bench=bench, unit=unit)
    answer = {"check": view.check, "head": list(view.head_pulls), "holds": list(view.holds)}
    written = None if as_json and out is None else write_check_page(view, out)
    if as_json:
        json_line(clean(answer))
    else:
        click.echo(check_text(answer), nl=False)
    if written is not None:
        click.echo(f"Report: {written}", err=as_json)


def write_check_page(view: "CheckView", out: Path | None) -> Path:
    """Write the page of a check to a file, or under its own name into a folder.

    Raises:
        UsageError: The place does not take it.
    """
    from tensionlog.report.check_page import check_page

    named = (out or Path()) / f"check-{view.at:%Y-%m-%d}.html"
    path = out if out is not None and not out.is_dir() else named
    _write(path, check_page(view))
    return path


def write_page(view: "JobView", out: Path | None) -> Path:
    """Write the page to a file, or under its own name into a folder.

    Raises:
        UsageError: The place does not take it.
    """
    from tensionlog.report.job import job_page

    path = _page_path(view, out)
    _write(path, job_page(view))
    return path


def _write_picture(view: "JobView", pull: str, svg: Path, as_json: bool) -> None:
    from tensionlog.report.picture import pull_picture

    _write(svg, pull_picture(view, pull))
    if as_json:
        json_line({"picture": str(svg)})
    else:
        click.echo(f"Picture: {svg}")


def _write(path: Path, text: str) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise UsageError(
            f"cannot write {path}: {error.strerror or error}. Choose another place."
        ) from error


def _page_path(view: "JobView", out: Path | None) -> Path:
    if out is not None and not out.is_dir():
        return out
    ref = "".join(c if c.isalnum() or c in "-_" else "-" for c in view.job.ref) or "job"
    bed = "" if view.run.bed == 1 else f"-bed{view.run.bed}"
    return (out or Path()) / f"{ref}{bed}.html"


def _job(store: "Store", ref: str | None, bed: int | None) -> "StoredJob":
    found = [job for job in store.jobs(ref=ref) if bed is None or job.run.bed == bed]
    if found:
        return found[-1]
    refs = [job.ref or "?" for job in store.jobs()][-5:]
    if not refs:
        raise StoreError("the database has no job. Store one with 'tensionlog replay --db'.")
    asked = f"job {ref or 'at all'}{'' if bed is None else f', bed {bed}'}"
    raise StoreError(f"there is no {asked}. The latest are {', '.join(refs)}.")
