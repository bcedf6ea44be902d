"""How good the pull finder is, measured against the twin's truth.

`python tests/test_measured.py` prints the table that the README quotes; `--jobs` says how
many jobs each row rests on. The seeds are used nowhere else. A dirty line has 1 % of its
samples lost, 1 % garbled and 0.05 % made spikes.
"""

import argparse
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

import numpy as np
import pytest

from tensionlog.model.pull import Pull
from tensionlog.pipeline.replay import replay
from tensionlog.twin import Played, play_job
from tensionlog.twin.faults import garble, lose_lines, spikes, spoil

FIRST_SEED = 52_000
SPORTS = (("badminton", "nylon"), ("tennis", "polyester"), ("squash", "gut"))
MISHAPS = {"R3": "redo", "L5": "undo", "R6": "redo"}
DIRT = (
    partial(lose_lines, share=0.01),
    partial(garble, share=0.01),
    partial(spikes, share=0.0005),
)
HEADS = ("lockout", "constant-pull", "drop-weight")
CLEAR = 10.0
"""Steps are scored above this many standard deviations of one sample."""


class Step(NamedTuple):
    """One clear step at a release, true and as answered; None where none was answered."""

    true_n: float
    drop_n: float | None
    u_n: float | None
    late_samples: float | None


@dataclass(slots=True)
class Score:
    """What was counted over the jobs of one row."""

    jobs: int = 0
    pulls: int = 0
    missed: int = 0
    invented: int = 0
    position: int = 0
    behind: int = 0
    redo: int = 0
    still: int = 0
    still_seen: int = 0
    steps: list[Step] = field(default_factory=list)

    def add(self, truth: Mapping[str, Any], found: Sequence[Pull]) -> None:
        """Score one job."""
        true = truth["pulls"]
        pairs = list(matched(true, found))
        self.jobs += 1
        self.pulls += len(true)
        self.missed += len(true) - len(pairs)
        self.invented += len(found) - len(pairs)
        for pull, answer in pairs:
            self.position += pull["position"] != answer.position
            self.behind += pull["held_position"] != answer.held_position
            self.redo += pull["void"] != answer.void
            self._step(pull, answer, truth)

    def _step(self, pull: Mapping[str, Any], answer: Pull, truth: Mapping[str, Any]) -> None:
        drop = pull["drop_n"]
        if drop is None or "not-measurable" in answer.flags:
            return
        if drop == 0.0:
            self.still += 1
            self.still_seen += answer.seen
        elif drop > CLEAR * truth["noise_n"]:
            late = answer.release_s and (answer.release_s - pull["release_s"])
            samples = None if late is None else late * truth["rate_hz"]
            self.steps.append(Step(drop, answer.drop, answer.drop_u, samples))


def matched(
    true: Sequence[Mapping[str, Any]], found: Sequence[Pull]
) -> Iterator[tuple[Mapping[str, Any], Pull]]:
    """Pair each true pull with the first answered one whose rise lies inside it."""
    free = list(found)
    for pull in true:
        begins = pull["slack_s"] if pull["slack_s"] is not None else pull["start_s"]
        inside = (a for a in free if begins - 0.5 <= a.start_s <= pull["let_off_s"])
        answer = next(inside, None)
        if answer is not None:
            free.remove(answer)
            yield pull, answer


def figures(score: Score) -> dict[str, str]:
    """The row as text."""
    answered = [s for s in score.steps if s.drop_n is not None and s.u_n is not None]
    errors = np.array([s.drop_n - s.true_n for s in answered])
    inside = np.abs(errors) <= 2.0 * np.array([s.u_n for s in answered])
    late = np.array([s.late_samples for s in answered if s.late_samples is not None])
    return {
        "jobs": f"{score.jobs}",
        "pulls": f"{score.pulls}",
        "missed": f"{score.missed}",
        "invented": f"{score.invented}",
        "wrong position": f"{score.position}",
        "wrong behind": f"{score.behind}",
        "wrong redo": f"{score.redo}",
        "clear steps": f"{len(score.steps)}",
        "answered": f"{len(answered)}",
        "median |error| N": f"{np.median(np.abs(errors)):.3f}",
        "median u N": f"{np.median([s.u_n for s in answered]):.3f}",
        "within 2u": f"{100 * inside.mean():.0f} %",
        "median |late| samples": f"{np.median(np.abs(late)):.2f}",
        "no step, one seen": f"{score.still_seen} of {score.still}",
    }


def score_jobs(*, head: str, dirty: bool, jobs: int, rate_hz: float = 80.0) -> Score:
    """Play, replay and score `jobs` jobs."""
    score = Score()
    with TemporaryDirectory() as folder:
        for n in range(jobs):
            played = _played(FIRST_SEED + n, head=head, dirty=dirty, rate_hz=rate_hz)
            path = Path(folder) / "job.rec"
            path.write_bytes(played.recording)
            whole = replay(path, keep_traces=False)
            score.add(played.truth, [found.pull for found in whole.found])
    return score


def _played(seed: int, *, head: str, dirty: bool, rate_hz: float) -> Played:
    sport, material = SPORTS[seed % len(SPORTS)]
    played = play_job(
        seed=seed,
        sport=sport,
        head=head,
        material=material,
        rate_hz=rate_hz,
        mishaps=MISHAPS,
        pace=0.4,
    )
    return spoil(played, seed=seed, kinds=DIRT) if dirty else played


def _pull(start_s: float, **changes: Any) -> Pull:
    unknown = dict.fromkeys(Pull.__dataclass_fields__)
    known = {"kind": "pull", "unit": "N", "seen": False, "void": False, "flags": ()}
    return Pull(**(unknown | known | {"start_s": start_s} | changes))


def _true(start_s: float, **changes: Any) -> dict[str, Any]:
    pull = {"start_s": start_s, "slack_s": None, "let_off_s": start_s + 4.0}
    named = {"position": "L1", "held_position": None, "void": False, "drop_n": None}
    return pull | named | changes


def test_missed_and_invented_pulls_are_counted():
    score = Score()
    score.add({"pulls": [_true(0.0), _true(10.0)]}, [_pull(0.1, position="L1"), _pull(20.0)])

    assert (score.pulls, score.missed, score.invented, score.position) == (2, 1, 1, 0)


def test_one_true_pull_answered_twice_is_one_invented():
    score = Score()
    score.add({"pulls": [_true(0.0)]}, [_pull(0.1, position="L1"), _pull(2.0)])

    assert (score.missed, score.invented) == (0, 1)


def test_a_wrong_place_and_a_wrong_redo_are_counted():
    score = Score()
    answer = _pull(0.0, position="R1", held_position="L1", void=True)
    score.add({"pulls": [_true(0.0)]}, [answer])

    assert (score.position, score.behind, score.redo) == (1, 1, 1)


def test_only_clear_steps_are_scored_and_a_still_string_is_counted_apart():
    score = Score()
    drops = ((0.0, 3.0), (9.0, 0.1), (18.0, 0.0))
    true = [_true(at_s, drop_n=drop, release_s=at_s + 2.0) for at_s, drop in drops]
    answers = [
        _pull(0.0, seen=True, drop=3.1, drop_u=0.1, release_s=2.0125),
        _pull(9.0, seen=True, drop=0.1, drop_u=0.1, release_s=11.0),
        _pull(18.0, seen=True, drop=0.2, drop_u=0.1, release_s=20.0),
    ]
    score.add({"pulls": true, "noise_n": 0.05, "rate_hz": 80.0}, answers)

    assert len(score.steps) == 1
    assert score.steps[0].late_samples == pytest.approx(1.0)
    assert (score.still, score.still_seen) == (1, 1)
    assert figures(score)["median |error| N"] == "0.100"


@pytest.mark.slow
@pytest.mark.timeout(600)
@pytest.mark.parametrize("dirty", [False, True], ids=["clean", "dirty"])
@pytest.mark.parametrize("head", HEADS)
def test_no_pull_is_missed_invented_or_put_elsewhere(head: str, dirty: bool):
    score = score_jobs(head=head, dirty=dirty, jobs=6)
    errors = [abs(s.drop_n - s.true_n) for s in score.steps if s.drop_n is not None]

    assert (score.missed, score.invented) == (0, 0)
    assert (score.position, score.behind, score.redo) == (0, 0, 0)
    assert len(errors) >= 0.9 * len(score.steps) > 10
    assert np.median(errors) < 0.2


def main() -> None:
    """Print the table, one row for each head and line."""
    asked = argparse.ArgumentParser(description=main.__doc__)
    asked.add_argument("--jobs", type=int, default=20)
    asked.add_argument("--rate", type=float, default=80.0)
    asked.add_argument("--head", choices=HEADS, action="append")
    given = asked.parse_args()
    for dirty in (False, True):
        for head in given.head or HEADS:
            score = score_jobs(head=head, dirty=dirty, jobs=given.jobs, rate_hz=given.rate)
            row = "; ".join(f"{name} {text}" for name, text in figures(score).items())
            sys.stdout.write(f"{head}, {'dirty' if dirty else 'clean'} line: {row}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
