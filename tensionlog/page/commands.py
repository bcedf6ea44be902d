"""A key, a touch or a button to the notes that it writes, or to why it cannot be done."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from tensionlog.page.steps import AFTER, BEFORE, SKIP, TAKEN_BACK, Choice, Step
from tensionlog.page.story import Story, overdue, stage, step_now
from tensionlog.pipeline.quick import Standing

Note = Mapping[str, Any]

LONGEST_REMARK: Final = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """What a command does.

    Attributes:
        notes: To be written, in order.
        ends: Whether the recording is closed behind them.
        refused: Key of the text that says why nothing was done, or None.
        values: What that text names.
    """

    notes: Sequence[Note] = ()
    ends: bool = False
    refused: str | None = None
    values: Mapping[str, Any] | None = None


Act = Callable[[Mapping[str, Any], Story, Standing | None], Decision]


def refused(key: str, **values: Any) -> Decision:
    """Nothing is done, and this is why."""
    return Decision(refused=key, values=values)


def decide(command: Mapping[str, Any], told: Story, standing: Standing | None) -> Decision:
    """What `command` does to the job as it stands.

    Args:
        command: `do` names it; the rest is what goes with it.
        told: The story so far.
        standing: Pulls and places, or None.
    """
    do = str(command.get("do", ""))
    act = _ACTS.get(do)
    if act is None:
        return refused("no.unknown", do=do[:40])
    return act(command, told, standing)


def passed_over(told: Story, standing: Standing | None) -> list[Note]:
    """Notes for steps that nobody answered before the strings were pulled."""
    return [
        {"note": "inspect", "item": step.item, "answer": SKIP.answer, "by": "the page"}
        for step in overdue(told, standing)
    ]


def _simple(name: str) -> Act:
    def act(command: Mapping[str, Any], told: Story, standing: Standing | None) -> Decision:
        if stage(told, standing) not in ("strings", "after"):
            return refused("no.not-stringing")
        return Decision(notes=[{"note": name}])

    return act


def _take_back(name: str) -> Act:
    """Redo or undo; among confirmations undo takes the last answer back."""

    def act(command: Mapping[str, Any], told: Story, standing: Standing | None) -> Decision:
        now = stage(told, standing)
        strings_left = standing is not None and any(not x.place.void for x in standing.laps)
        if now in ("before", "after", "refused") and name == "undo" and _may_reopen(told, now):
            return Decision(
                notes=[{"note": "inspect", "item": told.order[-1], "answer": TAKEN_BACK}]
            )
        if now not in ("strings", "after"):
            return refused("no.not-stringing")
        if not strings_left:
            return refused("no.nothing-pulled")
        return Decision(notes=[{"note": name}])

    return act


def _may_reopen(told: Story, now: str) -> bool:
    steps = AFTER if now == "after" else BEFORE
    return bool(told.order) and told.order[-1] in {step.item for step in steps}


def _answer(command: Mapping[str, Any], told: Story, standing: Standing | None) -> Decision:
    step = step_now(told, standing)
    item = str(command.get("item", step.item if step else ""))
    if step is None or item != step.item:
        return refused("no.step-passed")
    choice = _choice(step, str(command.get("answer", "")))
    if choice is None:
        return refused("no.unknown", do=str(command.get("answer"))[:40])
    note: dict[str, Any] = {"note": "inspect", "item": item, "answer": choice.answer}
    if step.measures and choice is not SKIP:
        size = _size(command)
        if size is None:
            return refused("no.size")
        note |= {"long_mm": size[0], "wide_mm": size[1]}
        note["answer"] = f"{size[0]:g} x {size[1]:g} mm"
    if step is AFTER[-1] and stage(told, standing) == "after":
        return Decision(notes=[note, {"note": "job-end"}])
    return Decision(notes=[note])


def _choice(step: Step, answer: str) -> Choice | None:
    if not answer:
        return step.choices[0]
    return next((c for c in step.choices if answer in (c.answer, c.key)), None)


def _size(command: Mapping[str, Any]) -> tuple[float, float] | None:
    """Length and width of the head in millimetres, if both could be a head's."""
    sizes = []
    for key, low, high in (("long_mm", 100.0, 500.0), ("wide_mm", 80.0, 400.0)):
        try:
            sizes.append(float(str(command.get(key, "")).replace(",", ".")))
        except ValueError:
            return None
        if not low <= sizes[-1] <= high:
            return None
    return sizes[0], sizes[1]


def _skip(command: Mapping[str, Any], told: Story, standing: Standing | None) -> Decision:
    if step_now(told, standing) is not None:
        return _answer({**command, "answer": SKIP.answer}, told, standing)
    place = None if standing is None else standing.next_place
    if stage(told, standing) != "strings" or place is None or place.position is None:
        return refused("no.not-stringing")
    if standing is not None and standing.is_loaded:
        return refused("no.loaded")
    sequence = standing.jobs[-1].sequence if standing else ()
    index = sequence.index(place.position)
    if index + 1 >= len(sequence):
        return refused("no.last-string")
    note = {"note": "place", "position": sequence[index + 1], "skipped": place.position}
    return Decision(notes=[note])


def _place(command: Mapping[str, Any], told: Story, standing: Standing | None) -> Decision:
    position = str(command.get("position", ""))
    if stage(told, standing) not in ("strings", "after") or standing is None:
        return refused("no.not-stringing")
    if not standing.jobs or position not in standing.jobs[-1].sequence:
        return refused("no.position", position=position[:20])
    return Decision(notes=[{"note": "place", "position": position}])


def _clamp(command: Mapping[str, Any], told: Story, standing: Standing | None) -> Decision:
    """The last pull was taken by the other clamp than planned."""
    laps = () if standing is None else standing.laps
    if not laps or stage(told, standing) not in ("strings", "after"):
        return refused("no.nothing-pulled")
    names = clamp_names(standing)
    asked = str(command.get("shut", "")) or next(
        (name for name in names if name != laps[-1].place.clamp_shut), ""
    )
    if asked not in names:
        return refused("no.clamp", names=", ".join(names))
    return Decision(notes=[{"note": "clamp", "shut": asked}])


def clamp_names(standing: Standing | None) -> list[str]:
    """Clamps that the job's ticket names."""
    if standing is None or not standing.jobs:
        return []
    job = standing.jobs[-1]
    named = [job.clamp_left, job.clamp_right, job.clamp_start, *job.clamps_crosses]
    return sorted({name for name in named if name})


def _broke(command: Mapping[str, Any], told: Story, standing: Standing | None) -> Decision:
    laps = () if standing is None else standing.laps
    if stage(told, standing) not in ("strings", "after") or not laps:
        return refused("no.not-stringing")
    position = str(command.get("position", "")) or laps[-1].place.position or ""
    if not standing or position not in standing.jobs[-1].sequence:
        return refused("no.position", position=position[:20])
    again = {"note": "job-start", "job": dict(told.ticket)}
    return Decision(notes=[{"note": "broke", "position": position}, again])


def _remark(command: Mapping[str, Any], told: Story, standing: Standing | None) -> Decision:
    text = " ".join(str(command.get("text", "")).split())
    if not text:
        return refused("no.empty")
    return Decision(notes=[{"note": "remark", "text": text[:LONGEST_REMARK]}])


def _pause(command: Mapping[str, Any], told: Story, standing: Standing | None) -> Decision:
    return Decision(notes=[{"note": "go-on" if told.is_paused else "pause"}])


def _finish(command: Mapping[str, Any], told: Story, standing: Standing | None) -> Decision:
    """The slip was given: the sitting is over."""
    if not told.is_ended:
        return refused("no.not-done")
    return Decision(notes=[{"note": "hand-over"}], ends=True)


def _end_job(command: Mapping[str, Any], told: Story, standing: Standing | None) -> Decision:
    """Every step is answered: the job is done, and the slip is written."""
    now = stage(told, standing)
    if now != "after" or step_now(told, standing) is not None:
        return refused("no.not-done")
    return Decision(notes=[{"note": "job-end"}])


def _give_up(command: Mapping[str, Any], told: Story, standing: Standing | None) -> Decision:
    why = " ".join(str(command.get("why", "")).split())[:LONGEST_REMARK] or "not said"
    notes = [{"note": "given-up", "why": why}]
    return Decision(notes=notes if told.is_ended else [{"note": "job-end"}, *notes], ends=True)


def _vouch(command: Mapping[str, Any], told: Story, standing: Standing | None) -> Decision:
    """A cracked frame is strung all the same, at somebody's risk, by name."""
    by = " ".join(str(command.get("by", "")).split())[:120]
    if not told.is_cracked:
        return refused("no.not-cracked")
    if not by:
        return refused("no.name")
    return Decision(notes=[{"note": "override", "what": "crack", "by": by}])


def _confirm(command: Mapping[str, Any], told: Story, standing: Standing | None) -> Decision:
    """Enter, the foot switch, or the device's own `next`: the plain yes of the moment."""
    if told.is_ended:
        return _finish(command, told, standing)
    if told.is_cracked:
        return _give_up({"why": "the frame is cracked"}, told, standing)
    if told.is_paused:
        return _pause(command, told, standing)
    if step_now(told, standing) is not None:
        return _answer({**command, "answer": ""}, told, standing)
    return _end_job(command, told, standing)


_ACTS: Final[Mapping[str, Act]] = {
    "confirm": _confirm,
    "answer": _answer,
    "redo": _take_back("redo"),
    "undo": _take_back("undo"),
    "skip": _skip,
    "place": _place,
    "clamp": _clamp,
    "lift-off": _simple("lift-off"),
    "broke": _broke,
    "remark": _remark,
    "pause": _pause,
    "finish": _finish,
    "give-up": _give_up,
    "vouch": _vouch,
}
