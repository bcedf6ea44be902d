"""The record that everything is drawn from."""

from dataclasses import replace

import pytest

from tensionlog.errors import UsageError


def test_an_unknown_unit_is_refused_with_those_there_are(make):
    with pytest.raises(UsageError, match=r"'lb'.*N, lbf, kgf"):
        make.view(unit="lb")


def test_only_pulls_of_this_job_are_its_pulls(make):
    other = replace(make.bare(2), job_number=2)
    stray = replace(make.bare(3), job_number=None)
    view = make.view(found=(make.bare(1), other, stray))
    assert [found.number for found in view.pulls] == [1]


def test_counts_are_read_as_counts_whatever_unit_was_asked_for(make):
    assert make.uncalibrated().reader.unit == "counts"
    assert replace(make.uncalibrated(), unit="kgf").reader.unit == "counts"


def test_a_job_without_pulls_goes_by_its_header(make, badminton):
    assert make.view(found=()).is_calibrated
    header = replace(badminton.header, calibration=None)
    assert not make.view(found=(), header=header).is_calibrated


@pytest.mark.parametrize(("said", "read"), [("bottom", "bottom"), ("top", "top"), (7, "top")])
def test_crosses_start_at_the_top_unless_the_ticket_says_bottom(make, said, read):
    assert make.view(job=make.job(raw={"crosses_from": said})).crosses_from == read
