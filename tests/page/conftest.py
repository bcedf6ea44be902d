"""What the tests of the page share: words, pulls, standings."""

from dataclasses import replace

import pytest

from tensionlog.model.pull import Pull
from tensionlog.model.recording import Note
from tensionlog.page.words import words_of
from tensionlog.pipeline.quick import Lap, Standing
from tensionlog.plan import Step, place_pulls, read_ticket

TICKET = {
    "ref": "J-1",
    "owner": "Ilka Vardholm",
    "frame": "unbranded 4U frame",
    "sport": "badminton",
    "mains": 4,
    "crosses": 2,
    "target_mains_N": 110.0,
    "target_crosses_N": 112.0,
    "order": "alternate",
    "clamps": {"left": "A", "right": "B", "start": "B", "crosses": "AB"},
}

PULL = Pull(
    kind="pull", unit="N", position="L2", held_position="L1", void=False, target=110.0,
    start_s=10.0, top_s=11.0, release_s=12.0, let_off_s=14.0, peak=111.0, top=109.0,
    at_3s=105.0, expected=106.0, release=106.0, drop=0.0, drop_u=0.05, seen=False,
    clamp_opened="A", clamp_shut="A", at_least_lost=None, at_least_give_mm=None, held=None,
    idle=0.0, release_u=0.05, noise=0.05, relaxation=0.04, flags=(),
)  # fmt: skip


@pytest.fixture
def words():
    return words_of("en")


@pytest.fixture
def pull():
    """A sound pull with some values changed."""

    def changed(**changes) -> Pull:
        return replace(PULL, **changes)

    return changed


@pytest.fixture
def note():
    def made(name: str, **body) -> Note:
        return Note(0.0, name, {"note": name, **body})

    return made


@pytest.fixture
def standing():
    """A job with so many pulls made, ten seconds apart; notes act behind the last of them."""

    def stood(pulls: int, *notes: str, loaded: bool = False, ticket=None) -> Standing:
        steps = [Step(at_s=0.0, name="job-start", body={"job": ticket or TICKET})]
        steps += [
            Step(at_s=10.0 * (i + 1), pull=i, let_off_s=10.0 * (i + 1) + 5)
            for i in range(pulls)
        ]
        steps += [Step(at_s=10.0 * pulls + 8.0, name=name) for name in notes]
        placed, jobs = place_pulls([*steps, Step(at_s=1e9, pull=pulls)], pulls + 1)
        laps = [
            Lap(
                start_s=10.0 * (i + 1),
                let_off_s=None if loaded and i == pulls - 1 else 10.0 * (i + 1) + 5,
                place=placed[i],
            )
            for i in range(pulls)
        ]
        return Standing(
            laps=tuple(laps), jobs=tuple(jobs), next_place=placed[-1], is_loaded=loaded
        )

    return stood


def sequence() -> tuple[str, ...]:
    return read_ticket(TICKET).sequence
