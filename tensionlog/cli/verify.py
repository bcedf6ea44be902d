"""`tensionlog verify`: the proof that nothing was lost silently."""

import sys
from collections.abc import Callable, Sequence
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tensionlog.cli import options
from tensionlog.cli.say import failed, json_line, one_line, progress
from tensionlog.errors import TensionlogError

if TYPE_CHECKING:
    from tensionlog.pipeline.audit import Proof
    from tensionlog.sources.recording import RecordingReader
    from tensionlog.store import Store


@click.command(short_help="Prove that nothing was lost silently.")
@options.recordings
@click.option("--db", type=click.Path(path_type=Path), help="Check this database as well.")
@options.as_json
def verify(files: Sequence[Path], db: Path | None, as_json: bool) -> None:
    """Prove that nothing was lost silently.

    What the device counted must be what is stored plus what is declared missing,
    nothing false and nothing twice. With --db, what the database holds must be what
    the recordings give. Exit code 1 if not.
    """
    from tensionlog.pipeline.replay import sittings_of
    from tensionlog.store import Store

    good = True
    with (
        Store(db, must_exist=True) if db else nullcontext() as store,
        progress(sum(map(options.size_of, files)), "verifying") as bar,
    ):
        if store is not None and (damage := store.quick_check()):
            failed(TensionlogError(f"{db} is damaged: {'; '.join(damage)}. Rebuild it."))
            good = False
        readers, errors = sittings_of(files)
        for error in errors:
            failed(error)
            good = False
        for reader in readers:
            try:
                result = verified(reader, store, bar.update)
            except TensionlogError as error:
                failed(error)
                good = False
                continue
            good = good and result["holds"]
            if as_json:
                json_line(result)
            else:
                click.echo(verified_text(result))
    if not good:
        sys.exit(1)


def verified(
    reader: "RecordingReader",
    store: "Store | None",
    on_bytes: Callable[[int], object] | None = None,
) -> dict[str, Any]:
    """Check one recording, and the database where there is one; the result as JSON."""
    from tensionlog.pipeline.verify import verify_recording, verify_stored

    proof = verify_recording(reader, store=store, on_bytes=on_bytes)
    differs = None if store is None else verify_stored(reader, store)
    return _result(reader.path.name, proof, differs)


def _result(name: str, proof: "Proof", differs: list[str] | None) -> dict[str, Any]:
    problems = [*proof.problems, *(differs or ())]
    return {
        "recording": name,
        "holds": not problems,
        "counted": proof.counted,
        "samples": proof.ledger.samples,
        "missing": proof.ledger.missing,
        "undeclared": proof.undeclared if proof.unproven is None else None,
        "false": proof.false,
        "twice": proof.twice,
        "duplicates": proof.ledger.duplicates,
        "bad_lines": proof.ledger.bad_lines,
        "restarts": proof.ledger.restarts,
        "database_agrees": None if differs is None else not differs,
        "unproven": proof.unproven,
        "problems": problems,
    }


def verified_text(result: dict[str, Any]) -> str:
    """The result of `verified` in one line."""
    name = one_line(result["recording"])
    if not result["holds"]:
        return f"{name}: NOT PROVEN, {'; '.join(result['problems'])}."
    agrees = "; the database agrees" if result["database_agrees"] else ""
    if result["unproven"]:
        return f"{name}: {result['samples']} samples, {result['unproven']}{agrees}."
    return (
        f"{name}: holds, {result['counted']} counted = {result['samples']} stored"
        f" + {result['missing']} missing; {result['bad_lines']} bad lines,"
        f" {result['duplicates']} copies, {result['restarts']} restarts{agrees}."
    )
