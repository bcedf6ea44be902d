"""The whole chain looked at, from the folder to the clock; nothing is changed here.

Each look gives findings: `good`, `look` (it works, and somebody should know) or `bad`,
one sentence with what to do, and where it is safe the name of what would mend it.
"""

import os
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from tensionlog.errors import DamagedStoreError, StoreError, TensionlogError
from tensionlog.pipeline.catch_up import not_stored
from tensionlog.pipeline.rebuild import SUFFIXES
from tensionlog.pipeline.replay import sittings_of
from tensionlog.pipeline.verify import verify_recording
from tensionlog.recorder import space_warning
from tensionlog.recorder.folder_lock import is_held

if TYPE_CHECKING:
    from tensionlog.device.heard import Heard
    from tensionlog.store import Store

GOOD, LOOK, BAD = "good", "look", "bad"

MAKE_FOLDER, STORE_LACKING = "make the folder", "store what the database lacks"
REBUILD = "make the database again from the recordings, and keep the old one"
REMOVE_PARTS = "remove files that were never finished"

CLOCK_AHEAD = timedelta(minutes=5)
FAST_DRIFT_PPM = 30_000.0  # a resonator is off by 0.5 %, an RC oscillator by 3 %


class Finding(NamedTuple):
    """One thing that was looked at.

    Attributes:
        level: `good`, `look` or `bad`.
        what: What was looked at, in a word or two.
        text: What was found, and what to do.
        mends: What `--fix` would do about it, or None.
    """

    level: str
    what: str
    text: str
    mends: str | None = None


def recordings_found(folder: Path) -> list[Path]:
    """Recordings in a folder, none where there is no such folder."""
    return sorted(p for p in folder.rglob("*.rec*") if p.name.endswith(SUFFIXES))


def look_at_folder(folder: Path) -> Iterator[Finding]:
    """Whether recordings can be made in it."""
    what = "folder"
    if not folder.exists():
        yield Finding(
            LOOK, what, f"{folder} is not there yet; recording makes it.", MAKE_FOLDER
        )
        return
    if not folder.is_dir() or not os.access(folder, os.W_OK | os.X_OK):
        yield Finding(BAD, what, f"{folder} takes no files. Name another one with 'bench set'.")
        return
    little = space_warning(folder)
    yield Finding(LOOK if little else GOOD, what, little or f"{folder} takes files.")
    yield from _leftovers(folder)


def _leftovers(folder: Path) -> Iterator[Finding]:
    parts = list(folder.rglob("*.part"))
    if parts and is_held(folder):
        yield Finding(GOOD, "folder", "a recording goes on there.")
    elif parts:
        yield Finding(
            LOOK,
            "folder",
            f"{len(parts)} files such as {parts[0].name} were never finished: whatever "
            "wrote them was stopped. Nothing is lost with them.",
            REMOVE_PARTS,
        )


def look_at_recordings(paths: Sequence[Path], *, prove: bool) -> Iterator[Finding]:
    """Whether each can be read, and where asked for keeps the law."""
    what = "recordings"
    readers, errors = sittings_of(paths)
    for error in errors:
        yield Finding(BAD, what, f"{error} Keep it, and restore it from a backup.")
    for reader in readers if prove else ():
        try:
            problems = verify_recording(reader).problems
        except TensionlogError as error:
            yield Finding(BAD, what, str(error))
            continue
        if problems:
            yield Finding(BAD, what, f"{reader.path.name}: {'; '.join(problems)}.")
        for warning in reader.warnings:
            yield Finding(LOOK, what, f"{reader.path.name}: {warning}")
    proven = " and keep the law" if prove else ""
    yield Finding(GOOD, what, f"{len(readers)} sittings can be read{proven}.")


def look_at_database(db: Path, paths: Sequence[Path]) -> Iterator[Finding]:
    """Whether it is sound and has every recording."""
    from tensionlog.store import Store

    what = "database"
    if not db.exists():
        lacking = STORE_LACKING if paths else None
        yield Finding(LOOK, what, f"{db} is not there yet; storing makes it.", lacking)
        return
    try:
        with Store(db, must_exist=True) as store:
            damage = store.quick_check()
            if not damage:
                yield from _completeness(store, paths)
                return
            text = f"{db} is damaged: {damage[0]}."
    except DamagedStoreError as error:
        text = str(error)
    except StoreError as error:
        yield Finding(BAD, what, str(error))
        return
    mends = REBUILD if paths else None
    yield Finding(BAD, what, f"{text} 'tensionlog rebuild' makes it again.", mends)


def _completeness(store: "Store", paths: Sequence[Path]) -> Iterator[Finding]:
    lacking, grown = not_stored(store, paths)
    sittings = len(store.recordings())
    if not lacking and not grown:
        yield Finding(GOOD, "database", f"it is sound and has {sittings} sittings.")
    if lacking:
        yield Finding(
            LOOK,
            "database",
            f"it lacks {len(lacking)} recordings, such as {lacking[0].name}.",
            STORE_LACKING,
        )
    if grown:
        yield Finding(
            LOOK,
            "database",
            f"{len(grown)} recordings, such as {grown[0].name}, hold other bytes than it "
            "was made from.",
            STORE_LACKING,
        )


def look_at_clock(now: datetime, paths: Sequence[Path]) -> Iterator[Finding]:
    """Whether this computer's clock can be right: no recording was made in its future."""
    readers, _ = sittings_of(paths)
    latest = max((r.header.started for r in readers), default=None)
    if latest is not None and latest > now + CLOCK_AHEAD:
        yield Finding(
            BAD,
            "clock",
            f"this computer's clock says {now:%Y-%m-%d %H:%M} UTC, a recording was made at "
            f"{latest:%Y-%m-%d %H:%M}. Set the clock: sittings are told apart by it.",
        )
    else:
        yield Finding(GOOD, "clock", f"{now.astimezone(UTC):%Y-%m-%d %H:%M} UTC.")


def look_at_device(
    heard: "Heard", *, wanted: str | None, stated_hz: float | None
) -> Iterator[Finding]:
    """Who answers, how fast, how noisy, and how its clock runs."""
    from tensionlog.device.diagnosis import diagnose
    from tensionlog.device.identity import identity_of
    from tensionlog.device.words import finding_words, identity_words
    from tensionlog.pipeline.trouble import off_rate

    who = identity_of(heard)
    text = identity_words(who, bytes_read=heard.bytes_read, example="")
    yield Finding(GOOD if who.is_usable else BAD, "device", text)
    if wanted is not None and who.hello is not None and who.hello.device != wanted:
        yield Finding(
            BAD,
            "device",
            f"it is {who.hello.device!r}, this bench's is {wanted!r}. Plug that one in, or "
            f"'tensionlog bench set --device {who.hello.device}'.",
        )
    if off := off_rate(rate_hz=heard.rate_hz, stated_hz=stated_hz):
        text = f"it gives {off.rate_hz:.1f} samples/s, the set-up says {off.stated_hz:g}."
        yield Finding(BAD if off.is_wiring else LOOK, "rate", text)
    if heard.ppm is not None and abs(heard.ppm) > FAST_DRIFT_PPM:
        text = f"the device's clock is off by {heard.ppm / 1e4:.1f} %. Its oscillator fails."
        yield Finding(BAD, "device clock", text)
    levels = {"bad": BAD, "look": LOOK, "fine": GOOD}
    for found in diagnose(heard, pulled_from_s=None, counts_per_n=None, budget=None).findings:
        yield Finding(levels[found.level], "cell", finding_words(found))
