"""The desk at the bench: commands become notes, what was recorded becomes the scene."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from tensionlog.errors import TensionlogError
from tensionlog.model.guide import KEYS as GUIDE_KEYS
from tensionlog.page.commands import Decision, decide, passed_over, refused
from tensionlog.page.form import Filled, read_form
from tensionlog.page.scene import scene
from tensionlog.page.story import stage, story
from tensionlog.page.words import Words
from tensionlog.pipeline.bench import Bench
from tensionlog.pipeline.guide import Guide
from tensionlog.pipeline.now import Now
from tensionlog.recorder import Recorder


class Archive(Protocol):
    """Where finished sittings are kept and looked up."""

    stored: tuple[Path, str] | None
    on_stored: Callable[[], object]

    def kept(self, now: Now) -> None:
        """A sitting has changed or is closed: store what is worth storing."""

    def ticket(self, name: str) -> Mapping[str, Any] | None:
        """Ticket of the job that goes by `name`, or None."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """What came of a command.

    Attributes:
        ok: Whether it was done.
        text: Why not, in words; empty where it was.
        errors: Field to what is wrong with it, for a ticket.
        over_limit: Whether only the frame's limit stands against the ticket.
    """

    ok: bool
    text: str = ""
    errors: Mapping[str, str] | None = None
    over_limit: bool = False


class Desk:
    """One bench, whatever number of pages.

    Args:
        bench: Followed by the pages; its `told` becomes the desk's.
        words: The texts.
        unit: Unit of the workshop.
        make_recorder: Makes a recording of a purpose.
        archive: The database.
        show: Given the scene with every change.
        new_ref: Makes a reference for a job that has none.
        make_guide: Makes the guide of a `check` or a `hold`; raises `TensionlogError`
            where the bench's set-up does not say how.
        foot: Key that a foot switch sends, as browsers name it.
    """

    def __init__(
        self,
        bench: Bench,
        *,
        words: Words,
        unit: str,
        make_recorder: Callable[[str], Recorder],
        archive: Archive,
        show: Callable[[Mapping[str, Any]], object] = lambda _scene: None,
        new_ref: Callable[[], str] = lambda: "",
        make_guide: Callable[[str, Mapping[str, Any]], Guide] | None = None,
        foot: str = "PageDown",
    ) -> None:
        self.bench, self.words, self.unit = bench, words, unit
        self.show = show
        self._make_recorder, self._archive, self._new_ref = make_recorder, archive, new_ref
        self._asked: set[tuple[Any, str]] = set()
        self._events = 0
        self._path: Path | None = None
        self._foot, self._make_guide = foot, make_guide
        bench.told = self.changed
        archive.on_stored = lambda: self.show(self.scene())

    def changed(self, now: Now) -> None:
        """The bench has changed: the follower calls this with every change."""
        self._pass_over(now)
        self._buttons(now)
        self._events = len(now.events)
        self._archive.kept(now)
        self.show(self.scene(now))

    def scene(self, now: Now | None = None) -> dict[str, Any]:
        """What the pages show now."""
        now, stored = now or self.bench.now, self._archive.stored
        shown = scene(now, self.words, unit=self.unit, is_calibrated=self.bench.is_calibrated)
        is_stored = stored is not None and stored[0] == now.path
        return shown | {"foot": self._foot, "job": stored[1] if is_stored and stored else ""}

    def do(self, command: Mapping[str, Any]) -> Answered:
        """Do what a page asks for, or say why not."""
        if command.get("do") == "ticket":
            return self._ticket(command)
        if command.get("do") in ("check", "hold"):
            return self._guide(str(command["do"]), command)
        now = self.bench.now
        if now.guiding is not None and now.header is not None and now.header.purpose != "job":
            return self._guide_key(command)
        if now.path is None:
            return self._said(refused("no.job"))
        return self._said(decide(command, story(now.notes), now.standing))

    def _said(self, decision: Decision) -> Answered:
        if decision.refused is not None:
            return Answered(
                ok=False, text=self.words(decision.refused, **(decision.values or {}))
            )
        if decision.ends:
            self.bench.capture.end(decision.notes)
        else:
            for note in decision.notes:
                self.bench.capture.note(note)
        return Answered(ok=True)

    def _ticket(self, command: Mapping[str, Any]) -> Answered:
        now = self.bench.now
        if now.path is not None and stage(story(now.notes), now.standing) != "slip":
            return self._said(refused("no.under-way"))
        fields = command.get("fields")
        typed = {str(k): str(v) for k, v in fields.items()} if isinstance(fields, dict) else {}
        base = self._archive.ticket(str(command.get("base", "")))
        filled = read_form(
            typed, self.words, unit=self.unit, base=base, new_ref=self._new_ref()
        )
        if filled.ticket is None:
            return Answered(
                ok=False,
                text=self.words("form.look"),
                errors=filled.errors,
                over_limit=filled.over_limit,
            )
        self._begin(filled)
        return Answered(ok=True)

    def _guide(self, kind: str, command: Mapping[str, Any]) -> Answered:
        """Begin a guided test, if nothing else is under way and the set-up says how."""
        if self.bench.now.path is not None:
            return self._said(refused("no.under-way"))
        if self._make_guide is None:
            return self._said(refused("no.guide"))
        try:
            guide = self._make_guide(kind, command)
        except TensionlogError as error:
            return Answered(ok=False, text=str(error))
        self.bench.guide(guide, lambda: self._make_recorder(kind), kind)
        return Answered(ok=True)

    def _guide_key(self, command: Mapping[str, Any]) -> Answered:
        """A key of the guide: next, again, skip, stop, or a number that it asks for."""
        do = str(command.get("do", ""))
        key = {"confirm": "next", "redo": "again", "undo": "again"}.get(do, do)
        if key == "number":
            key = str(command.get("number", "")).replace(",", ".")[:20]
        elif key not in GUIDE_KEYS:
            return self._said(refused("no.unknown", do=do[:40]))
        self.bench.guide_key(key)
        return Answered(ok=True)

    def _begin(self, filled: Filled) -> None:
        ticket = dict(filled.ticket or {})
        notes: list[Mapping[str, Any]] = [{"note": "job-start", "job": ticket}]
        if filled.overridden_by is not None:
            notes.append(
                {
                    "note": "override",
                    "what": "frame-limit",
                    "by": filled.overridden_by,
                    "limit_N": ticket["frame_limit_N"],
                    "ordered_N": max(ticket["target_mains_N"], ticket["target_crosses_N"]),
                }
            )
        self.bench.begin(lambda: self._make_recorder("job"), notes)

    def _pass_over(self, now: Now) -> None:
        """Strings are pulled although steps are open: these are recorded as skipped."""
        if now.path is None:
            self._asked.clear()
            return
        for note in passed_over(story(now.notes), now.standing):
            key = (now.path, str(note["item"]))
            if key not in self._asked:
                self._asked.add(key)
                self.bench.capture.note(note)

    def _buttons(self, now: Now) -> None:
        """The device's own `next` says yes where something is to be confirmed."""
        fresh = now.events[self._events :] if now.path == self._path else ()
        self._path = now.path
        for name in fresh:
            told = story(now.notes)
            if name == "next" and stage(told, now.standing) != "strings":
                self.do({"do": "confirm"})
