"""Everything that the page shows of a sitting, as one object of plain values.

Made anew with every change from what was recorded; it holds no state of its own.
"""

from collections.abc import Mapping
from typing import Any

from tensionlog.model.job import Job
from tensionlog.model.pull import Pull
from tensionlog.page.alarm import alarm_texts
from tensionlog.page.commands import clamp_names
from tensionlog.page.drawn import bed, counts, trace
from tensionlog.page.led import led, result
from tensionlog.page.steps import AFTER, BEFORE, TOO_MUCH_MM, Step
from tensionlog.page.story import Story, stage, step_now, story
from tensionlog.page.verdict import Verdict, verdict
from tensionlog.page.words import Words
from tensionlog.pipeline.now import Guiding, Now
from tensionlog.pipeline.quick import Standing
from tensionlog.report.rounding import Reader, fixed, orders


def scene(now: Now, words: Words, *, unit: str, is_calibrated: bool) -> dict[str, Any]:
    """What the page shows.

    Args:
        now: The bench at this moment.
        words: The texts.
        unit: Unit of the reader's choice.
        is_calibrated: Whether readings are newtons.
    """
    reader = Reader(unit if is_calibrated else "counts")
    shown: dict[str, Any] = {
        "change": now.change,
        "unit": reader.unit,
        "link": {"state": now.link},
        "alarms": alarm_texts(now, words),
        "unsafe": now.alarms.unsafe is not None,
        "stage": "home",
    }
    if now.path is None or now.header is None:
        return shown | {"result": result(now, words)}
    if now.header.purpose != "job":
        guiding = now.guiding or Guiding()
        known = {"recording": now.path.name, "title": words(f"guide.{guiding.kind}")}
        return shown | known | {"stage": "guide", "guide": led(guiding, words, unit=unit)}
    told = story(now.notes)
    if not told.ticket:  # the recording was made a moment ago; its ticket is on the way
        return shown
    return shown | _job(now, told, words, reader)


def _job(now: Now, told: Story, words: Words, reader: Reader) -> dict[str, Any]:
    standing = now.standing
    step, at = step_now(told, standing), stage(told, standing)
    job = standing.jobs[-1] if standing and standing.jobs else None
    pulls = pulls_by_lap(now)
    head = now.header.head if now.header else None
    return {
        "stage": at,
        "recording": now.path.name if now.path else "",
        "title": _title(told.ticket),
        "ref": str(told.ticket.get("ref", "")),
        "paused": told.is_paused,
        "ordered": _ordered(job, reader),
        "step": None if step is None else _step(step, told, words),
        "done_steps": _answered(told, words),
        "next": _next(standing, job, reader, words),
        "counts": counts(standing),
        "bed": None if job is None else bed(job, standing, pulls),
        "clamps": clamp_names(standing),
        "verdict": _verdict(now, pulls, words, reader, head),
        "trace": trace(now, reader),
        "head_change": _head_change(told, words),
        "remarks": list(told.remarks[-3:]),
    }


def pulls_by_lap(now: Now) -> dict[int, Pull]:
    """Numbers of each lap: those of the whole sitting, the live one on top."""
    laps = () if now.standing is None else now.standing.laps
    found = () if now.whole is None else now.whole.found
    pulls: dict[int, Pull] = {}
    for number, lap in enumerate(laps):
        one = next((f for f in found if abs(f.pull.start_s - lap.start_s) < 0.5), None)
        if one is not None:
            pulls[number] = one.pull
        elif now.live is not None and abs(now.live.start_s - lap.start_s) < 1.0:
            pulls[number] = now.live
    return pulls


def _title(ticket: Mapping[str, Any]) -> str:
    parts = (ticket.get("owner"), ticket.get("frame"), ticket.get("string"))
    return " · ".join(str(part) for part in parts if part)


def _ordered(job: Job | None, reader: Reader) -> str:
    if job is None:
        return ""
    return orders(reader, job.target_mains_n, job.target_crosses_n)


def _step(step: Step, told: Story, words: Words) -> dict[str, Any]:
    group = next((g for g in (BEFORE, AFTER) if step in g), (step,))
    return {
        "item": step.item,
        "title": words(f"step.{step.item}"),
        "how": words(f"step.{step.item}.how"),
        "number": group.index(step) + 1,
        "of": len(group),
        "measures": step.measures,
        "size": _known_size(told),
        "choices": [
            {
                "key": choice.key,
                "answer": choice.answer,
                "label": words(f"answer.{choice.answer}"),
                "tone": choice.tone,
            }
            for choice in step.choices
        ],
    }


def _known_size(told: Story) -> list[str]:
    """Length and width to begin with: as measured before, or as the ticket has them."""
    before = told.answers.get("head-before", {})
    sizes = []
    for name in ("long", "wide"):
        known = before.get(f"{name}_mm")
        if known is None and isinstance(told.ticket.get(f"head_{name}_m"), int | float):
            known = 1000.0 * told.ticket[f"head_{name}_m"]
        sizes.append("" if known is None else f"{known:g}")
    return sizes


def _answered(told: Story, words: Words) -> list[dict[str, str]]:
    return [
        {
            "title": words(f"step.{item}"),
            "answer": _answer_text(str(told.answers[item].get("answer", "")), words),
            "skipped": "yes" if told.answers[item].get("answer") == "skipped" else "",
        }
        for item in told.order
        if item in told.answers
    ]


def _answer_text(answer: str, words: Words) -> str:
    key = f"answer.{answer}"
    return words(key) if key in words else answer


def _next(
    standing: Standing | None, job: Job | None, reader: Reader, words: Words
) -> dict[str, Any] | None:
    """The string under way, or the one to be pulled next."""
    if standing is None or job is None:
        return None
    place = standing.laps[-1].place if standing.is_loaded else standing.next_place
    if place is None or place.position is None:
        return None
    target = job.target_n(place.position)
    return {
        "position": place.position,
        "side": words(f"side.{place.position[0]}"),
        "kind": place.kind,
        "target": reader.order(target),
        "target_bare": None if target is None else reader.convert(target),
        "dial": _dial(job, place.position, reader),
        "opens": place.clamp_opened or "",
        "shuts": place.clamp_shut or "",
        "behind": place.held_position or "",
        "loaded": standing.is_loaded,
    }


def _dial(job: Job, position: str, reader: Reader) -> str:
    """What the dial is set to for a string, where the ticket says it."""
    key = "dial_crosses_N" if position.startswith("X") else "dial_N"
    used = job.raw.get(key)
    return reader.order(used) if isinstance(used, int | float) else ""


def _verdict(
    now: Now, pulls: Mapping[int, Pull], words: Words, reader: Reader, head: str | None
) -> dict[str, Any] | None:
    """The latest pull that there is something to say of."""
    standing = now.standing
    if standing is None or not pulls:
        return None
    number = max(pulls)
    live = now.live is not None and abs(now.live.start_s - standing.laps[number].start_s) < 1.0
    holds = live and not now.live_final and standing.is_loaded
    place = standing.laps[number].place
    if place.void:
        return _as_dict(_void(place.position, words), number, words, None, now.live_final)
    said = verdict(pulls[number], words, reader=reader, head=head, holds=holds)
    return _as_dict(said, number, words, now.seen_at_s if live else None, not holds)


def _void(position: str | None, words: Words) -> Verdict:
    return Verdict(
        word="void", tone="none", number="",
        text=words("say.void", here=position or words("position.none")),
    )  # fmt: skip


def _as_dict(
    said: Verdict, number: int, words: Words, seen_at_s: float | None, is_final: bool
) -> dict[str, Any]:
    return {
        "pull": number + 1,
        "name": said.word,
        "word": words(f"word.{said.word}"),
        "tone": said.tone,
        "number": said.number,
        "text": said.text,
        "do": said.do,
        "final": is_final,
        "seen_at": seen_at_s,
    }


def _head_change(told: Story, words: Words) -> dict[str, Any] | None:
    """How much longer or wider the head is than before, once both were measured."""
    before, after = told.answers.get("head-before", {}), told.answers.get("head-after", {})
    changes = []
    for name in ("long_mm", "wide_mm"):
        if not all(isinstance(body.get(name), int | float) for body in (before, after)):
            return None
        changes.append(float(after[name]) - float(before[name]))
    grave = max(abs(c) for c in changes) > TOO_MUCH_MM
    signed = [("+" if c > 0 else "") + fixed(c, 1) for c in changes]
    key = "head.gave" if grave else "head.kept"
    return {
        "tone": "bad" if grave else "good",
        "text": words(key, long=signed[0], wide=signed[1]),
    }
