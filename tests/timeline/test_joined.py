"""Readings in one piece: none lost, none in another boot's piece."""

from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.timeline import Gap, Marked, Reading, Readings, Restart, joined

readings = st.builds(Reading, st.integers(0, 1), st.floats(0, 9), st.integers(-9, 9))
events = st.one_of(
    readings,
    st.lists(readings, min_size=1, max_size=4).map(
        lambda some: Readings(
            some[0].boot,
            np.array([r.t_s for r in some]),
            np.array([r.counts for r in some]),
        )
    ),
    st.just(Gap(0, 1.0, 2.0, 3)),
    st.just(Restart(1)),
    st.just(Marked(0, 1.0, "redo")),
)


def singly(some) -> list:
    out: list = []
    for event in some:
        if isinstance(event, Readings):
            out += [
                (event.boot, t_s, counts)
                for t_s, counts in zip(event.t_s, event.counts, strict=True)
            ]
        elif not isinstance(event, Gap):
            out.append(tuple(event))
    return out


@settings(max_examples=40)
@given(st.lists(events, max_size=20))
def test_the_same_in_fewer_pieces(some):
    pieces = list(joined(some))
    assert singly(pieces) == singly(some)
    for before, after in pairwise(pieces):
        both = isinstance(before, Readings) and isinstance(after, Readings)
        assert not both or before.boot != after.boot
    assert not any(isinstance(piece, Reading | Gap) for piece in pieces)
