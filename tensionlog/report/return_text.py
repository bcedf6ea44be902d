"""What the log knows of a racket that came back, in plain words for the terminal."""

from collections.abc import Iterator, Mapping
from typing import Any

from tensionlog.report.rounding import Reader

Answer = Mapping[str, Any]


def return_lines(answer: Answer, *, unit: str) -> Iterator[str]:
    """Job, clamps that day, alerts, then the pulls about the break."""
    reader = Reader(unit)
    ticket = answer["ticket"]
    who = [str(ticket[key]) for key in ("owner", "frame") if key in ticket]
    yield " · ".join([f"Job {answer['ref']}, strung {answer['strung'][:10]}", *who])
    yield f"  string   {_string(ticket, reader)}"
    for clamp in answer["clamps"]:
        yield f"  clamp {clamp['clamp']}  {_clamp(clamp, answer['strung'])}"
    for one in answer["said_by_job"]:
        yield f"  the job itself, clamp {one['clamp']}: {_evidence(one)}"
    if not answer["clamps"]:
        yield "  clamps   not hold-tested before this job: their state that day is not known."
    for alert in answer["alerts_then"]:
        yield f"  open that day: {alert['text']} ({alert['cause']}, {alert['raised'][:10]})"
    for alert in answer["alerts_since"]:
        yield (
            f"  raised {alert['raised'][:10]}, and begun by then: {alert['text']} "
            f"({alert['cause']}, since {alert['since'][:10]})"
        )
    yield from _strings(answer, reader)


def _string(ticket: Answer, reader: Reader) -> str:
    names = ("string", "string_mains", "string_crosses")
    said = [str(ticket[key]) for key in names if key in ticket]
    reels = ("reel", "reel_mains", "reel_crosses")
    said += [f"reel {ticket[key]}" for key in reels if key in ticket]
    orders = [ticket.get(f"target_{side}_N") for side in ("mains", "crosses")]
    said.append(" / ".join(reader.order(order) for order in orders))
    return ", ".join(said)


def _clamp(clamp: Answer, strung: str) -> str:
    if clamp["state"] is None:
        return "not hold-tested before this job"
    said = [str(clamp["state"])]
    if clamp["give_mm"] is not None:
        said.append(f"gave {clamp['give_mm']:.2f} mm")
    said.append(f"tested {clamp['tested'][:10]}")
    if clamp["served"]:
        said.append(f"{clamp['served']['what']} {clamp['served']['at'][:10]}")
    return ", ".join(said)


def _evidence(one: Answer) -> str:
    said = f"{one['seen']} of {one['could_show']} releases that could show 1 mm showed a loss"
    return said if one["most_mm"] is None else f"{said}, at least {one['most_mm']:.1f} mm"


def _strings(answer: Answer, reader: Reader) -> Iterator[str]:
    if answer["broke"]:
        yield f"  about {answer['broke']}:"
        for pull in answer["pulls"]:
            yield f"    {_pull(pull, reader)}"
    most = answer["most_lost"]
    if most:
        mm = most["at_least_give_mm"]
        give = "" if mm is None else f" ({mm:.1f} mm)"
        lost = reader.amount(most["at_least_lost_N"])
        behind = f"{most['position']} behind clamp {most['clamp']}"
        yield f"  most lost: {behind}, at least {lost}{give}"
    else:
        yield "  no release of this job showed a loss of the string behind."


def _pull(pull: Answer, reader: Reader) -> str:
    said = [f"{pull['position'] or '?':<4} read {reader.amount(pull['release_N'])}"]
    if pull["target_N"] is not None:
        said.append(f"ordered {reader.order(pull['target_N'])}")
    if pull["held_position"] and pull["at_least_lost_N"]:
        lost = reader.amount(pull["at_least_lost_N"])
        said.append(f"{pull['held_position']} behind had lost at least {lost}")
    return ", ".join([*said, *pull["flags"]])
