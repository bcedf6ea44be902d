"""The job in a terminal."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.report.summary import COLUMNS, LINES, plain, summary


def views(make):
    badminton = make.view()
    return {
        "badminton": badminton,
        "tennis": make.view("tennis"),
        "lbf": replace(badminton, unit="lbf"),
        "counts": make.uncalibrated(),
        "plain": make.plain(),
        "empty": make.view(found=()),
        "void": make.small(*(make.bare(i, void=True) for i in range(1, 9))),
        "bad": make.view(found=[make.bare(i, f"X{i}", release=80.0) for i in range(1, 23)]),
    }


@pytest.mark.parametrize(
    "name", ["badminton", "tennis", "lbf", "counts", "plain", "empty", "void", "bad"]
)
def test_every_summary_fits_a_terminal_and_makes_its_claim(make, name):
    lines = summary(views(make)[name]).splitlines()
    assert len(lines) <= LINES
    assert max(map(len, lines)) <= COLUMNS
    assert "what was pulled" in lines[-1]
    summary(views(make)[name]).encode("cp1252")  # the least of the common code pages


@given(st.text())
def test_nothing_that_moves_a_cursor_gets_through(text):
    assert plain(text).isprintable()


def test_a_ticket_cannot_paint_the_terminal(make):
    job = make.job(raw={"owner": "\x1b[2J" * 9, "frame": "x" * 500})
    text = summary(make.view(job=job))
    assert "\x1b" not in text
    assert max(map(len, text.splitlines())) <= COLUMNS


def test_the_verdict_stands_in_the_second_line(badminton):
    lines = summary(badminton).splitlines()
    assert lines[0].startswith("Job 2041 - 2026-03-02 09:00 - Ida Fjeldmark")
    assert lines[1].startswith("40 of 44 pulls within 2 %")


def test_the_summary_speaks_the_readers_unit(badminton):
    assert " lbf" in summary(replace(badminton, unit="lbf"))
    assert " lbf" not in summary(badminton)


def test_a_plain_job_says_what_cannot_be_known(make):
    assert "Lost on the line: cannot be known" in summary(make.plain())


def test_too_much_to_say_points_at_the_report(make):
    job = make.job(sequence=tuple(f"X{i}" for i in range(1, 90)))
    found = [make.bare(i, f"X{i}", release=80.0, void=i > 22) for i in range(1, 40)]
    found += [
        make.bare(50 + i, f"L{i}", clamp_opened=c, flags=("early-clamp",))
        for i, c in enumerate("ABCDEFGHIJKLMNOP", 1)
    ]
    text = summary(make.view(job=job, found=found))
    assert "... the report has the rest." in text
    assert len(text.splitlines()) <= LINES
