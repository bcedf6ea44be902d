"""`tensionlog clamps`: the maintenance look at a bench, as one page."""

from datetime import datetime
from pathlib import Path

import click

from tensionlog.cli import options
from tensionlog.cli.say import json_line
from tensionlog.cli.status import chosen_bench
from tensionlog.errors import UsageError


@click.command(short_help="Write the maintenance page of a bench: its clamps.")
@options.own_db
@click.option("--bench", help="Which bench; else the one of the latest sitting.")
@click.option("--out", type=click.Path(path_type=Path), help="File or folder of the page.")
@options.as_json
def clamps(db: Path | None, bench: str | None, out: Path | None, as_json: bool) -> None:
    """Write how each clamp stands, how that changed, who is at fault, and what helped.

    One HTML page that loads nothing and needs no script.
    """
    from tensionlog.pipeline.bench_view import bench_view
    from tensionlog.pipeline.watch import keep_watch
    from tensionlog.report.clamp_page import clamp_page
    from tensionlog.report.status import status_lines
    from tensionlog.store import Store

    with Store(options.database(db), must_exist=True) as store:
        keep_watch(store)
        name = chosen_bench(store, bench)
        view = bench_view(store, name, at=datetime.now().astimezone())
    path = write_clamps(clamp_page(view), name, out)
    if as_json:
        json_line({"page": str(path), "status": view.status})
    else:
        click.echo("\n".join(status_lines(view.status)))
        click.echo(f"Page: {path}", err=True)


def write_clamps(page: str, bench: str, out: Path | None) -> Path:
    """Write the page to a file, or under the bench's name into a folder.

    Raises:
        UsageError: The place does not take it.
    """
    plain = "".join(c if c.isalnum() or c in "-_" else "-" for c in bench)
    path = (
        out
        if out is not None and not out.is_dir()
        else (out or Path()) / f"clamps-{plain}.html"
    )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(page, encoding="utf-8", newline="\n")
    except OSError as error:
        raise UsageError(
            f"cannot write {path}: {error.strerror or error}. Choose another place."
        ) from error
    return path
