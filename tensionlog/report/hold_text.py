"""A hold test, and a service, in plain words for the terminal."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from tensionlog.report.rounding import places

Answer = Mapping[str, Any]

VERDICTS: Final = {"good": "GOOD", "watch": "WATCH", "service": "SERVICE"}
SAYS: Final = {
    "good": "it holds.",
    "watch": "it holds, but look at it again soon.",
    "service": "clean the jaws, set the pressure for the gauge, check the base lock, "
    "test again.",
}


def hold_lines(hold: Answer) -> Iterator[str]:
    """What one hold test found, verdict first."""
    name = f"Clamp {hold['clamp']}"
    if hold["problem"]:
        yield f"{name}: NO ANSWER: {hold['problem']}"
        return
    if hold["hand_off_loss_N"] is None:
        yield f"{name}: no calibration, so no newtons and no verdict."
        return
    yield f"{name}: {VERDICTS[hold['verdict']]}: {SAYS[hold['verdict']]}"
    yield f"  lost at the hand-off  {_lost(hold)}"
    yield f"  gives                 {_give(hold)}"
    yield f"  creeps                {pair(hold['creep_N_per_s'], hold['u_creep_N_per_s'])} N/s"
    for slip in hold["slips"]:
        yield f"  slipped               {slip['size_N']:.1f} N at {slip['time_s']:.1f} s"
    yield from (f"  because               {reason}" for reason in hold["reasons"])


def _lost(hold: Answer) -> str:
    said = f"{pair(hold['hand_off_loss_N'], hold['u_N'])} N"
    return said if hold["loss_pct"] is None else f"{said}, {hold['loss_pct']:.1f} %"


def _give(hold: Answer) -> str:
    if hold["give_mm"] is None:
        return str(hold["why_no_mm"])
    said = f"{pair(hold['give_mm'], hold['u_give_mm'])} mm"
    if hold["flex_mm"] is None:
        return said
    flex = f"flex {pair(hold['flex_mm'], hold['u_flex_mm'])} mm"
    return f"{said}: {flex}, slip {pair(hold['slip_mm'], hold['u_slip_mm'])} mm"


def pair(value: float, u: float | None) -> str:
    """A number with one standard uncertainty, as many digits as that allows.

    >>> pair(9.123, 0.0456), pair(0.9, None)
    ('9.12 ± 0.05', '0.90')
    """
    decimals = 2 if not u or u <= 0.0 else min(4, max(0, places(u)))
    doubt = "" if u is None else f" ± {u:.{decimals}f}"
    return f"{value:.{decimals}f}{doubt}"


def standing_lines(clamp: Answer) -> Iterator[str]:
    """How a clamp stands after its test, beside its own history."""
    if clamp["needed"]:
        tests = "test" if clamp["needed"] == 1 else "tests"
        said = f"{clamp['needed']} more {tests} before a change can be told"
        yield f"  history               {said}"
    elif clamp["level_mm"] is not None:
        usual = pair(clamp["level_mm"], clamp["u_level_mm"])
        yield f"  usually               {usual} mm over {clamp['tests']} tests"
    if clamp["alert"]:
        yield f"  open alert            {clamp['alert']}"


def effect_lines(clamp: str, effects: Sequence[Answer]) -> Iterator[str]:
    """Whether the last service of a clamp helped, and how long the one before did."""
    last = effects[-1]
    yield f"Clamp {clamp}: {last['what']} on {last['at'][:10]}"
    if last["before"] is None:
        yield (
            f"  No hold test of clamp {clamp} before it: nothing to compare with."
            if last["after"] is not None
            else f"  No hold test of clamp {clamp} before or after it yet."
        )
    elif last["change"] is None:
        yield f"  before  {last['before']:.2f} mm"
        yield "  after   not tested yet: make a hold test to see whether it helped."
    else:
        yield f"  before  {last['before']:.2f} mm,  after  {last['after']:.2f} mm"
        low, high = last["change"]["low"], last["change"]["high"]
        change = f"{last['change']['best']:+.2f} mm (95 % from {low:+.2f} to {high:+.2f})"
        yield f"  change  {change}: {_helped(last)}"
    if len(effects) > 1:
        yield f"  last time ({effects[-2]['at'][:10]}): {_lasted(effects[-2])}"


def _helped(effect: Answer) -> str:
    if effect["helped"] is None:
        tests = "test" if effect["needed"] == 1 else "tests"
        return f"not told yet, {effect['needed']} more {tests} would"
    return "it helped." if effect["helped"] else "it did not help: it gives more than before."


def _lasted(effect: Answer) -> str:
    if effect["helped"] is False:
        return "it did not help."
    if effect["lasted_days"] is None:
        return "it was not back at its old level by the next service."
    return f"back at its old level after {effect['lasted_days']:.0f} days."
