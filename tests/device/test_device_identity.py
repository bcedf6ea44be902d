"""Who answers, in which version of the wire, and whether two have one name."""

import numpy as np
import pytest

from tensionlog.device.heard import Heard
from tensionlog.device.identity import identity_of, shared_names
from tensionlog.device.words import identity_words, shared_words
from tensionlog.model.lines import Hello

HELLO = Hello(1, "cell-7f3a", "0.3.1", 80.0, 24, "19c4")
NOTHING = {"t_s": np.empty(0), "counts": np.empty(0), "arrived_s": np.empty(0)}


def heard(**what):
    return Heard(**{**NOTHING, "bytes_read": 1000, "samples": 80, **what})


@pytest.mark.parametrize(
    ("what", "state"),
    [
        ({"hellos": (HELLO,)}, "sound"),
        ({"hellos": (HELLO,), "samples": 0}, "sound"),
        ({"hellos": (HELLO._replace(proto=2),)}, "later"),
        ({"hellos": (HELLO._replace(proto=0),)}, "earlier"),
        ({}, "unnamed"),
        ({"hellos": (HELLO, HELLO._replace(device="other"))}, "several"),
        ({"samples": 0, "bad_lines": 90, "plain_lines": ("w=12.3",)}, "other"),
        ({"samples": 0, "bad_lines": 90}, "rubbish"),
        ({"samples": 1, "bad_lines": 90}, "rubbish"),
        ({"samples": 0, "bytes_read": 0}, "silent"),
    ],
)
def test_each_kind_of_answer_is_told_and_said(what, state):
    who = identity_of(heard(**what))
    assert who.state == state
    assert who.is_usable == (state in ("sound", "unnamed"))
    assert identity_words(who, bytes_read=1000, example="w=12.3")


def test_a_second_start_of_one_device_is_not_a_second_device():
    assert identity_of(heard(hellos=(HELLO, HELLO._replace(boot="2")))).state == "sound"


def test_a_later_version_says_which_and_what_to_do():
    said = identity_words(identity_of(heard(hellos=(HELLO._replace(proto=2),))))
    assert "version 2 of the wire and this tensionlog version 1. Upgrade" in said


def test_two_devices_with_one_name_are_found_by_their_ports():
    one, other = (identity_of(heard(hellos=(h,))) for h in (HELLO, HELLO._replace(device="b")))
    found = {"COM3": one, "COM4": other, "COM5": one, "COM6": identity_of(heard())}
    assert shared_names(found) == {"cell-7f3a": ["COM3", "COM5"]}
    assert "COM3 and COM5 both call themselves cell-7f3a" in shared_words(
        "cell-7f3a", ["COM3", "COM5"]
    )
