"""Labels on the bed do not hide one another."""

import itertools
import random

from hypothesis import given
from hypothesis import strategies as st

from tensionlog.report.bed import bed_info
from tensionlog.report.bed_labels import ALONG, Box, label_boxes


def hidden(boxes):
    return [pair for pair in itertools.combinations(boxes, 2) if pair[0].overlaps(pair[1])]


def test_any_two_held_strings_have_labels_apart(badminton):
    ends = [line.ends for line in bed_info(badminton).lines]
    assert not any(hidden(label_boxes(pair)) for pair in itertools.combinations(ends, 2))


def test_a_handful_of_held_strings_have_labels_apart(badminton):
    ends, rng = [line.ends for line in bed_info(badminton).lines], random.Random(5)
    handfuls = [rng.sample(ends, 5) for _ in range(300)]
    covered = sum(bool(hidden(label_boxes(handful))) for handful in handfuls)
    assert covered <= 3  # one in a hundred: more strings than that have no room


@given(st.integers(0, 43))
def test_a_label_lies_on_its_own_string(badminton, i):
    x0, y0, x1, y1 = bed_info(badminton).lines[i].ends
    (box,) = label_boxes([(x0, y0, x1, y1)])
    assert min(x0, x1) <= box.x <= max(x0, x1)
    assert min(y0, y1) <= box.y <= max(y0, y1)


def test_the_first_label_takes_the_first_place():
    (box,) = label_boxes([(-1.0, 0.0, 1.0, 0.0)])
    assert box.x == -1.0 + 2 * ALONG[0]


def test_touching_is_not_overlapping():
    box = Box(0.0, 0.0, 0.1, 0.1)
    assert not box.overlaps(Box(0.2, 0.0, 0.1, 0.1))
    assert box.overlaps(Box(0.15, 0.15, 0.1, 0.1))
