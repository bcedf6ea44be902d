"""A pull in one word, one number and one sound, said of the right string.

The release tells about the string *behind*; the reading about the string being pulled.
What is worse is said, the other stands in the sentence beside it.
"""

from dataclasses import dataclass
from typing import Final

from tensionlog.model.pull import Pull
from tensionlog.page.words import Words
from tensionlog.report.rounding import ABSENT, NBSP, Reader, fixed, millimetres
from tensionlog.report.view import Limits
from tensionlog.report.words import NOT_EVIDENCE

TONES = ("good", "look", "bad", "none")
"""What a verdict sounds like: high and soft, one middle note, low and twice, nothing."""

LOST_LOOK_SHARE = 0.05
"""A string that lost this share of its target is one to look at where millimetres are not
known: it is the loss that friction hides at most, so it is told from what is usual."""


PUSHED: Final = frozenset({"straightened", "worked-twice"})
PUSHED_SHARE: Final = 0.04
"""A cross that is pushed straight may settle lower by up to this share of its target, and
with the hand in it that reads like a release (seen on the simulated bench)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What is said of one pull.

    Attributes:
        word: Names the word, such as `lost`.
        tone: One of `TONES`.
        number: The one number, with its unit; empty where there is none.
        text: One sentence about the right string.
        do: What to do, or empty.
    """

    word: str
    tone: str
    number: str
    text: str
    do: str = ""


def verdict(
    pull: Pull,
    words: Words,
    *,
    reader: Reader,
    head: str | None,
    holds: bool,
    limits: Limits | None = None,
) -> Verdict:
    """Say a pull.

    Args:
        pull: As judged.
        words: The texts.
        reader: The reader's unit.
        head: Kind of head, as a header names it.
        holds: Whether the head still holds the string.
        limits: Where the lines are drawn.
    """
    limits = limits or Limits()
    for say in (_slid, _interrupted, _lost, _off, _gave, _unread, _held):
        said = say(pull, words, reader, head or "lockout", holds, limits)
        if said is not None:
            return said
    return _pulled(pull, words, reader)


def off_pct(pull: Pull) -> float | None:
    """Reading against what was to be expected, per cent; None without either."""
    aim = pull.target if pull.expected is None else pull.expected
    if aim is None or aim <= 0.0 or pull.release is None or pull.unit != "N":
        return None
    return 100.0 * (pull.release - aim) / aim


def short(reader: Reader, force: float | None) -> str:
    r"""A force for a glance: one decimal at most, since no eye takes in more at a metre.

    >>> short(Reader("N"), 107.34), short(Reader("N"), 3.21)
    ('107\xa0N', '3.2\xa0N')
    """
    if force is None:
        return ABSENT
    shown = reader.convert(force)
    decimals = 0 if abs(shown) >= 100.0 or reader.unit == "counts" else 1
    return f"{fixed(shown, decimals)}{NBSP}{reader.unit}"


def is_loss(pull: Pull, limits: Limits) -> bool:
    """Whether the string behind lost enough to act on."""
    lost = pull.at_least_lost
    if lost is None or may_be_pushed(pull):
        return False
    if pull.at_least_give_mm is not None and pull.at_least_give_mm >= limits.give_look_mm:
        return True
    return pull.target is not None and lost >= LOST_LOOK_SHARE * pull.target


def may_be_pushed(pull: Pull) -> bool:
    """Whether the fall may as well be a cross that was pushed straight."""
    if not (pull.position or "").startswith("X") or not PUSHED & set(pull.flags):
        return False
    small = PUSHED_SHARE * (pull.target or 0.0)
    return pull.drop is not None and pull.drop < small


def _slid(p: Pull, w: Words, r: Reader, head: str, holds: bool, x: Limits) -> Verdict | None:
    if "gripper-slip" not in p.flags:
        return None
    return Verdict(
        word="slid",
        tone="bad",
        number=short(r, p.release),
        text=w("say.slid", here=_here(p, w)),
        do=w("do.slid"),
    )


def _interrupted(
    p: Pull, w: Words, r: Reader, head: str, holds: bool, x: Limits
) -> Verdict | None:
    if "interrupted" not in p.flags or holds:
        return None
    return Verdict(
        word="broken-off", tone="look", number="", text=w("say.broken-off", here=_here(p, w)),
        do=w("do.broken-off"),
    )  # fmt: skip


def _lost(p: Pull, w: Words, r: Reader, head: str, holds: bool, x: Limits) -> Verdict | None:
    if not is_loss(p, x) or p.at_least_lost is None:
        return None
    when = f"do.lost.{head}" if holds else "do.lost.off"
    return Verdict(
        word="lost",
        tone="bad",
        number=short(r, p.at_least_lost),
        text=w("say.lost", behind=p.held_position, amount=short(r, p.at_least_lost))
        + _in_mm(p, w),
        do=w(when, clamp=p.clamp_opened or w("clamp.its"), behind=p.held_position),
    )


def _off(p: Pull, w: Words, r: Reader, head: str, holds: bool, x: Limits) -> Verdict | None:
    off = off_pct(p)
    if off is None or abs(off) <= x.within_pct or p.release is None:
        return None
    side = "low" if off < 0 else "high"
    grave = abs(off) > x.look_pct
    aim = p.target if p.expected is None else p.expected
    by = abs(p.release - (aim or 0.0))
    return Verdict(
        word=side if grave else f"bit-{side}",
        tone="bad" if grave else "look",
        number=("−" if off < 0 else "+") + short(r, by),
        text=w(f"say.{side}", here=_here(p, w), reads=short(r, p.release), aim=short(r, aim)),
        do=w("do.off.holds" if holds else "do.off") if grave else "",
    )


def _gave(p: Pull, w: Words, r: Reader, head: str, holds: bool, x: Limits) -> Verdict | None:
    lost = p.at_least_lost
    if not p.seen or p.held_position is None:
        return None
    if lost is None or round(r.convert(lost), 1) <= 0.0:
        return Verdict(
            word="held", tone="good", number=short(r, p.release),
            text=w("say.step-small", behind=p.held_position),
        )  # fmt: skip
    return Verdict(
        word="gave",
        tone="look",
        number=short(r, lost),
        text=w("say.lost", behind=p.held_position, amount=short(r, lost))
        + _in_mm(p, w)
        + (w("say.or-pushed", here=_here(p, w)) if may_be_pushed(p) else ""),
    )


def _unread(p: Pull, w: Words, r: Reader, head: str, holds: bool, x: Limits) -> Verdict | None:
    flag = next((f for f in p.flags if f in NOT_EVIDENCE), None)
    if flag is None or p.held_position is None:
        return None
    return Verdict(
        word="pulled",
        tone="good",
        number=short(r, p.release),
        text=w(f"say.unread.{flag}", behind=p.held_position),
    )


def _held(p: Pull, w: Words, r: Reader, head: str, holds: bool, x: Limits) -> Verdict | None:
    if p.held_position is None:
        return None
    if p.kind == "lift-off" and p.held is not None:
        return Verdict(
            word="holds", tone="good", number=short(r, p.held),
            text=w("say.lift-off", here=_here(p, w)),
        )  # fmt: skip
    return Verdict(
        word="held",
        tone="good",
        number=short(r, p.release),
        text=w("say.held", behind=p.held_position),
    )


def _pulled(p: Pull, w: Words, r: Reader) -> Verdict:
    key = "say.beyond" if "beyond-plan" in p.flags else "say.pulled"
    return Verdict(
        word="pulled" if p.release is not None else "unread",
        tone="good" if p.release is not None else "look",
        number=short(r, p.release) if p.release is not None else "",
        text=w(key, here=_here(p, w)),
    )


def _here(p: Pull, w: Words) -> str:
    return p.position or w("position.none")


def _in_mm(p: Pull, w: Words) -> str:
    give = p.at_least_give_mm
    return "" if give is None else w("say.in-mm", give=millimetres(give))
