"""From the sample that shows a release to its word: how soon, how dear, how often false.

The bench is fed sample by sample as the follower is. Bench time says how long the
estimator had to wait; the thread's own time says what the reading costs on top, whatever
else the machine does.
"""

import time
from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from tensionlog.model.recording import Arrival, Note
from tensionlog.page.verdict import verdict
from tensionlog.page.words import words_of
from tensionlog.pipeline.quick import Quick
from tensionlog.pipeline.releases import Releases
from tensionlog.pipeline.sitting import Sitting
from tensionlog.report.rounding import Reader
from tensionlog.sources.recording import open_recording
from tensionlog.twin import draw_bench, play_job

pytestmark = pytest.mark.long

WORDS, NEWTONS = words_of("en"), Reader("N")
LOST_MM, LESSONS = 8.0, 4


@dataclass
class Told:
    """What was said of a job, and what saying it took.

    Attributes:
        words: Position to each word and the bench time it was said at, the last one final.
        took_s: The thread's own time of each reading.
        truth: Position to what the twin did.
    """

    words: dict[str, list[tuple[str, float]]] = field(default_factory=dict)
    took_s: list[float] = field(default_factory=list)
    truth: dict[str, dict] = field(default_factory=dict)


def told_of(folder, *, head="lockout", rate_hz=80.0, worn=False, seed=5, **job) -> Told:
    bench = draw_bench(seed, head=head, rate_hz=rate_hz)
    if worn:
        bench = bench.with_clamp(replace(bench.clamps["B"], slip_mm=LOST_MM))
    asked = {"sport": "badminton", "mains": 6, "crosses": 0, "pace": 0.3, **job}
    played = play_job(seed=seed, bench=bench, read_every_s=0.025, **asked)
    path = folder / "live.rec"
    path.write_bytes(played.recording)
    told = Told(truth={p["position"]: p for p in played.truth["pulls"]})
    reader, now = open_recording(path), [0.0]
    quick, sitting = Quick(reader.header), Sitting(reader.header, keep_traces=False)
    releases = Releases(lambda: now[0])
    releases.begin(quick, sitting)

    def say(look, *, holds) -> None:
        began_s = time.thread_time()
        pull = look()
        if pull is not None:
            said = verdict(pull, WORDS, reader=NEWTONS, head=head, holds=holds)
            told.words.setdefault(pull.position, []).append((said.word, quick.now_s))
            told.took_s.append(time.thread_time() - began_s)

    for item in reader:
        if isinstance(item, bytes):
            before = quick.stretches
            quick.feed(item)
            sitting.feed(item)
            say(releases.under_way, holds=True)
            if quick.stretches != before:
                say(releases.let_off, holds=False)
                if quick.stretches <= LESSONS:
                    sitting.whole()
        elif isinstance(item, Arrival):
            now[0] = item.at_s
            quick.arrived(item.at_s)
            sitting.arrived(item.at_s)
        elif isinstance(item, Note):
            quick.note(item)
            sitting.note(item)
    return told


@pytest.mark.parametrize(
    ("head", "rate_hz", "needs_s"),
    [
        ("lockout", 80.0, 0.25),
        ("lockout", 10.0, 1.0),
        pytest.param("constant-pull", 80.0, 0.25, marks=pytest.mark.slow),
        pytest.param("drop-weight", 80.0, 0.25, marks=pytest.mark.slow),
    ],
)
def test_a_worn_clamp_is_told_while_the_head_holds_and_soon(tmp_path, head, rate_hz, needs_s):
    told = told_of(tmp_path, head=head, rate_hz=rate_hz, worn=True)
    assert np.quantile(told.took_s, 0.99) < 0.1
    delays = []
    for position, words in told.words.items():
        true = told.truth[position]
        lost = [at_s for word, at_s in words if word == "lost"]
        if true["drop_n"] == 0.0:
            assert not lost, position
        elif lost:
            delays.append(lost[0] - true["release_s"])
    assert delays
    assert max(delays) < needs_s
