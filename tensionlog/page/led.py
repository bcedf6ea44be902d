"""A guided test on the page: one word, one sentence, the reading, and how far it has come."""

from typing import Any

from tensionlog.model.guide import Ask, Refused
from tensionlog.page.words import Words
from tensionlog.pipeline.answers import clean
from tensionlog.pipeline.now import Guiding, Now
from tensionlog.pipeline.sitting import Whole
from tensionlog.report.check_text import check_text
from tensionlog.report.guide_words import TONES, amount, glance, kind_of, sentence


def led(guiding: Guiding, words: Words, *, unit: str) -> dict[str, Any]:
    """What the page shows of a guided test."""
    ask, reading = guiding.ask, guiding.reading
    kind = None if guiding.latest is None else kind_of(guiding.latest)
    shown_unit = unit if reading is None or reading.unit == "N" else "counts"
    return {
        "kind": guiding.kind,
        "title": words(f"guide.{guiding.kind}"),
        "word": "" if ask is None else glance(ask),
        "sentence": words("guide.wait") if ask is None else sentence(ask, unit=unit),
        "number": 0 if ask is None else ask.number,
        "of": 0 if ask is None else ask.of,
        "asks_number": ask is not None and ask.ends == "number",
        "reading": "" if reading is None else amount(reading.value, None, unit=shown_unit),
        "state": "" if reading is None else words(f"guide.{reading.state}"),
        "share": 0.0 if reading is None else reading.share or 0.0,
        "refused": "" if guiding.refused is None else _wrong(guiding.refused, unit),
        "took": [text for took in guiding.took[-6:] if (text := sentence(took, unit=unit))],
        "caution": _caution(ask, words),
        "news": guiding.news,
        "tones": [list(tone) for tone in TONES[kind]] if kind else [],
    }


def _wrong(said: Refused, unit: str) -> str:
    text = sentence(said, unit=unit)
    return text[:1].upper() + text[1:]


def _caution(ask: Ask | None, words: Words) -> str:
    """The short caution that belongs to what is asked, where there is one."""
    if ask is None:
        return ""
    if ask.words in ("hang", "empty"):
        return words("caution.mass")
    return words("caution.string") if ask.ends in ("pull", "let-off") else ""


def result(now: Now, words: Words) -> dict[str, Any] | None:
    """What the guided test that was closed last has found; None where none was."""
    if now.closed is None or now.guiding is None or now.guiding.done is None:
        return None
    paths, whole = now.closed
    if whole.header.purpose not in ("check", "hold"):
        return None
    verdict = _verdict(whole, complete=now.guiding.done.complete)
    return {
        "name": paths[0].name,
        "title": words(f"guide.{now.guiding.kind}"),
        "verdict": verdict,
        "word": words(f"check.{verdict}"),
        "lines": _lines(whole, words, complete=now.guiding.done.complete),
    }


def _verdict(whole: Whole, *, complete: bool) -> str:
    """The worst of what cell and clamps were found to be."""
    answers = [whole.tests.check, *whole.tests.holds]
    found = [str(a.get("verdict") or "unfinished") for a in answers if a is not None]
    order = ("stop", "service", "unfinished", "adjust", "watch", "good")
    if not found or not complete:
        found.append("unfinished")
    return next(verdict for verdict in order if verdict in found)


def _lines(whole: Whole, words: Words, *, complete: bool) -> list[str]:
    tests = whole.tests
    answer = clean(
        {
            "check": tests.check,
            "head": tests.head,
            "holds": list(tests.holds),
            "turn": tests.turn,
            "stiffness": tests.stiffness,
            "problems": list(tests.problems),
        }
    )
    text = check_text(answer).splitlines()
    return text if complete else [words("guide.broken-off"), *text]
