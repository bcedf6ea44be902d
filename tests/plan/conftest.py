"""What the tests of the plan share: a ticket, and a job told in short words."""

from collections.abc import Callable
from typing import Any

import pytest

from tensionlog.plan import Placed, Step, place_pulls

TICKET = {
    "ref": "T-1",
    "sport": "squash",
    "mains": 6,
    "crosses": 4,
    "target_mains_N": 120.0,
    "target_crosses_N": 116.0,
    "order": "alternate",
    "clamps": {"left": "A", "right": "B", "start": "C", "crosses": "AB"},
    "EA_N": 4000.0,
    "head_long_m": 0.30,
    "head_wide_m": 0.22,
}

Told = Callable[..., list[Placed]]


@pytest.fixture(scope="session")
def ticket() -> dict[str, Any]:
    return dict(TICKET)


def told(*words: str | tuple[str, dict[str, Any]], **changes: Any) -> list[Placed]:
    """Places of the pulls in a job of `words`, ten seconds apart.

    `pull` is a pull that is held for five seconds; `hold:NAME` a pull with the note NAME
    while the head still holds; `cut` a pull under which the stream broke off; anything
    else is a note, with its body where it has one.
    """
    steps = [Step(at_s=0.0, name="job-start", body={"job": TICKET | changes})]
    count = 0
    for at_s, word in enumerate(words, 1):
        at_s *= 10.0
        name, body = (word, {}) if isinstance(word, str) else word
        if name in ("pull", "cut") or name.startswith("hold:"):
            let_off_s = None if name == "cut" else at_s + 5.0
            steps.append(Step(at_s=at_s, pull=count, let_off_s=let_off_s))
            count += 1
            if name.startswith("hold:"):
                steps.append(Step(at_s=at_s + 3.0, name=name.removeprefix("hold:")))
        else:
            steps.append(Step(at_s=at_s, name=name, body=body))
    return place_pulls(steps, count)[0]


@pytest.fixture(name="told", scope="session")
def told_fixture() -> Told:
    return told
