"""The law: how a recording is cut into pieces, and who looks meanwhile, changes nothing."""

from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tensionlog.model.recording import Arrival, Header, Note
from tensionlog.pipeline.answers import answer
from tensionlog.pipeline.sitting import Sitting, Whole
from tensionlog.sources.recording import Item, open_recording
from tensionlog.twin import play_job
from tensionlog.twin.faults import garble, lose_lines, restart, spikes, spoil

MISHAPS = {"L1": "redo", "R1": "lift-off", "X2": "wrong-clamp"}


def damaged(head: str) -> bytes:
    """A short job with everything that can come in a stream: losses, a restart, buttons."""
    played = play_job(seed=4, head=head, mains=2, crosses=2, pace=0.0, mishaps=dict(MISHAPS))
    kinds = [
        lambda s, rng: restart(s, rng=rng, at_share=0.6),
        lambda s, rng: lose_lines(s, rng=rng, share=0.01),
        lambda s, rng: garble(s, rng=rng, share=0.01),
        lambda s, rng: spikes(s, rng=rng, share=0.001),
    ]
    return spoil(played, seed=4, kinds=kinds).recording


@pytest.fixture(
    scope="module",
    params=["lockout", "drop-weight", pytest.param("constant-pull", marks=pytest.mark.long)],
)
def tape(request, tmp_path_factory) -> tuple[Header, list[Item], Whole]:
    path = Path(tmp_path_factory.mktemp("tape")) / "one.rec"
    path.write_bytes(damaged(request.param))
    reader = open_recording(path)
    items = list(reader)
    return reader.header, items, replayed(reader.header, items)


def replayed(header: Header, items: Iterable[Item], *, look_every: int = 0) -> Whole:
    sitting = Sitting(header)
    for number, item in enumerate(items, 1):
        if isinstance(item, bytes):
            sitting.feed(item)
        elif isinstance(item, Arrival):
            sitting.arrived(item.at_s)
        else:
            assert isinstance(item, Note)
            sitting.note(item)
        if look_every and number % look_every == 0:
            sitting.whole()
    sitting.close()
    return sitting.whole()


def cut(items: Iterable[Item], sizes: list[int]) -> list[Item]:
    """The same items with the device's bytes in pieces of these sizes, over and over."""
    out: list[Item] = []
    for item in items:
        if not isinstance(item, bytes):
            out.append(item)
            continue
        at, turn = 0, 0
        while at < len(item):
            out.append(item[at : at + sizes[turn % len(sizes)]])
            at, turn = at + sizes[turn % len(sizes)], turn + 1
    return out


def differences(one: Whole, other: Whole) -> list[str]:
    """Names of what is not identical; a comparison of the whole would be pages long."""
    found = [
        name
        for name in ("jobs", "runs", "ledger", "notes", "warnings", "tests", "boot_starts_s")
        if getattr(one, name) != getattr(other, name)
    ]
    if answer(one, name="") != answer(other, name=""):
        found.append("answer")
    if len(one.found) != len(other.found):
        found.append(f"{len(one.found)} pulls, not {len(other.found)}")
    for a, b in zip(one.found, other.found, strict=False):
        found += [
            f"{a.number}: {name} {getattr(a.pull, name)!r}, not {getattr(b.pull, name)!r}"
            for name in a.pull.__slots__
            if getattr(a.pull, name) != getattr(b.pull, name)
        ]
        if (a.number, a.job_number, a.bed) != (b.number, b.job_number, b.bed):
            found.append(f"{a.number}: place")
        if not all(np.array_equal(x, y) for x, y in zip(a.trace, b.trace, strict=True)):
            found.append(f"{a.number}: trace")
    return found


@example(sizes=[1])
@given(sizes=st.lists(st.integers(1, 400), min_size=1, max_size=8))
@settings(max_examples=1)
def test_cuts_do_not_matter(tape, sizes: list[int]):
    """One drawn way to cut a run, and byte by byte; the timeline's own laws draw more."""
    header, items, whole = tape

    assert differences(replayed(header, cut(items, sizes)), whole) == []


def test_looking_meanwhile_does_not_matter(tape):
    header, items, whole = tape

    assert differences(replayed(header, items, look_every=501), whole) == []


def test_there_is_something_to_compare(tape):
    _, _, whole = tape

    assert len(whole.found) >= 5
    assert whole.ledger.restarts == 1
    assert whole.ledger.bad_lines > 5
    assert sum(f.pull.void for f in whole.found) == 1


def test_without_arrivals_one_block_is_read_like_many(tmp_path):
    """No line of the host's own: the device's bytes alone, as fast as the disk gives them."""
    path = tmp_path / "bare.rec"
    path.write_bytes(play_job(seed=3, mains=4, crosses=0, pace=0.0).recording)
    header = open_recording(path).header
    device = b"".join(item for item in open_recording(path) if isinstance(item, bytes))
    whole = replayed(header, [device])

    assert len(whole.found) == 4
    assert differences(replayed(header, cut([device], [4096, 37])), whole) == []
