"""How good the estimate of a release is on this bench, as its levers tell."""

from tensionlog.model.sitting import Levers
from tensionlog.report.words import plural


def lever_words(levers: Levers) -> str:
    """Say what levers and trace have to say of one another, in one line."""
    said = [
        f"levers marked {plural(levers.releases, 'release')}, {levers.seen} of them fell far "
        f"enough to be told from zero; the trace alone found {levers.found}"
        + (f" and put {levers.elsewhere} elsewhere" if levers.elsewhere else "")
    ]
    if levers.late_s is not None:
        spread = "" if levers.spread_s is None else f" (spread {1e3 * levers.spread_s:.0f} ms)"
        said.append(f"its moment is {_late(levers.late_s)} the lever's{spread}")
    if levers.drop is not None:
        spread = "" if levers.drop_spread is None else f" (spread {levers.drop_spread:.3g})"
        said.append(f"its steps differ by {levers.drop:+.3g} {levers.unit}{spread}")
    if levers.other_clamp:
        said.append(
            f"{plural(levers.other_clamp, 'lever')} of another clamp than planned opened: "
            "note which clamp took the string, or look at the wiring"
        )
    return "; ".join(said)


def _late(late_s: float) -> str:
    word = "after" if late_s >= 0.0 else "before"
    return f"{1e3 * abs(late_s):.0f} ms {word}"
