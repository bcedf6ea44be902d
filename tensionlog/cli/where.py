"""`tensionlog` with nothing behind it: where one stands, and the one next step."""

from datetime import UTC, datetime

import click


def say_where() -> None:
    """Look at set-up and database, without making either, and say what comes next."""
    from tensionlog.cli.bench_file import load_settings
    from tensionlog.report.where import where_lines
    from tensionlog.settings import settings_path
    from tensionlog.store.glance import glance

    settings = load_settings()
    set_up = settings_path().is_file()
    lines = where_lines(
        bench=settings.bench if set_up else None,
        port=settings.port,
        stands=glance(settings.database_path, settings.bench if set_up else None),
        now=datetime.now(UTC).astimezone(),
    )
    click.echo("\n".join(lines))
