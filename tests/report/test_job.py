"""The whole page: one file that loads nothing, runs nothing of others, and says it all."""

import base64
import hashlib
import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.model.pull import Trace
from tensionlog.model.recording import Calibration
from tensionlog.report.answer import job_json
from tensionlog.report.job import job_page
from tensionlog.report.markup import tag
from tensionlog.report.page import page
from tensionlog.report.summary import summary

HOSTILE = "</script><script>alert(1)</script><img src=x onerror=alert(1)>\"'&"
LOADING = {"src", "href", "action", "formaction", "data", "poster", "srcset", "background"}


class Reading(HTMLParser):
    """What a browser makes of a page: elements, scripts, and text outside of scripts."""

    def __init__(self, page):
        super().__init__()
        self.starts, self.scripts, self.text, self._inside = [], [], "", ""
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        """Note an element."""
        self.starts.append((tag, dict(attrs)))
        self._inside = tag

    def handle_endtag(self, tag):
        """Note that an element ends."""
        self._inside = ""

    def handle_data(self, data):
        """Note what stands inside."""
        if self._inside == "script":
            self.scripts.append((self.starts[-1][1], data))
        elif self._inside != "style":
            self.text += data

    @property
    def data(self):
        """JSON carried by the page."""
        return [json.loads(text) for attrs, text in self.scripts if "type" in attrs]

    @property
    def programs(self):
        """Scripts that a browser would run."""
        return [text for attrs, text in self.scripts if "type" not in attrs]


@pytest.fixture(scope="module")
def badminton_page(badminton):
    return job_page(badminton)


@pytest.fixture(scope="module")
def badminton_read(badminton_page):
    return Reading(badminton_page)


@pytest.fixture(scope="module")
def hostile_view(make):
    job = make.job(
        ref=HOSTILE,
        mains=2,
        crosses=1,
        sequence=("L1", "R1", "X1", HOSTILE),
        raw=dict.fromkeys(("owner", "frame", "string", "operator", "reel"), HOSTILE),
    )
    found = (
        make.bare(1, "L1", clamp_shut=HOSTILE, flags=(HOSTILE,)),
        make.bare(2, HOSTILE, held_position=HOSTILE, clamp_opened=HOSTILE, release=80.0),
        make.bare(4, "R1", held_position="L1", clamp_opened=HOSTILE, release=80.0),
        make.bare(3, HOSTILE, void=True),
    )
    view = make.view(job=job, found=tuple(replace(f, rule=HOSTILE) for f in found))
    return replace(
        view,
        recording=HOSTILE,
        made_with=HOSTILE,
        header=replace(view.header, bench=HOSTILE, calibration=Calibration((0, 1), HOSTILE)),
        run=make.run(broke=HOSTILE, inspections=((HOSTILE, HOSTILE),)),
        ledger=replace(view.ledger, faults={HOSTILE: 1}),
        last_check=replace(view.last_check, on=HOSTILE, verdict=HOSTILE),
    )


def test_the_page_stays_under_six_megabytes(badminton_page):
    assert len(badminton_page.encode()) < 6_000_000


def test_no_element_loads_anything(badminton_read):
    loading = [(tag, attrs) for tag, attrs in badminton_read.starts if LOADING & attrs.keys()]
    assert loading == []
    assert not {tag for tag, _ in badminton_read.starts} & {"link", "iframe", "object", "base"}


def test_the_policy_forbids_the_network_and_every_script_but_ours(badminton_read):
    metas = [attrs for tag, attrs in badminton_read.starts if tag == "meta"]
    policy = next(m["content"] for m in metas if "http-equiv" in m)
    assert policy.startswith("default-src 'none'; ")
    assert "connect-src" not in policy
    assert "unsafe-eval" not in policy
    allowed = re.findall(r"'sha256-(.*?)'", policy)
    digests = [hashlib.sha256(text.encode()).digest() for text in badminton_read.programs]
    assert allowed == [base64.b64encode(d).decode() for d in digests]
    assert len(allowed) == 2


def test_the_policy_comes_before_any_script(badminton_page):
    assert badminton_page.index("Content-Security-Policy") < badminton_page.index("<script")


def test_every_pull_has_its_trace_and_void_ones_are_marked(badminton, badminton_read):
    cells = [a["class"] for t, a in badminton_read.starts if a.get("class", "")[:4] == "cell"]
    assert len(cells) == len(badminton.pulls)
    assert cells.count("cell void") == 1
    assert cells.count("cell look") == 2


def test_figures_are_carried_once_and_in_single_precision(badminton, badminton_read):
    figures = [data for data in badminton_read.data if "data" in data]
    assert len(figures) == len(badminton.pulls) + 2
    curves = [f["data"][0]["y"] for f in figures if f["data"][0].get("dx")]
    assert {curve["dtype"] for curve in curves} == {"f4"}
    assert len(curves) == len(badminton.pulls)


def test_figures_name_colours_by_role_so_that_dark_and_paper_can_fill_them(badminton_read):
    carried = json.dumps([data for data in badminton_read.data if "data" in data])
    assert not re.search(r"#[0-9a-fA-F]{6}\b", carried)
    palettes = next(data for data in badminton_read.data if "dark" in data)
    roles = set(re.findall(r"var\((--\w+)\)", carried))
    assert all(roles <= palette.keys() for palette in palettes.values())


@pytest.mark.parametrize(
    "said",
    [
        "40 of 44 pulls within 2 %",
        "Ida Fjeldmark",
        "This is what was pulled",
        "The strung bed holds less",
        "not a safety device",
        "face out of the string’s line",
        "assumed, not measured",
        "12 of 41",
        "spring 3, 2026-02-11",
        "Relaxation found4.5 %",
        "Faults the device toldnone",
        "R5 (pull 10) read",
        "At 2 pulls the clamp was shut before the string had settled: X17, X18",
        "The sides cannot be told apart",
        "not seen (below 0.05)",
    ],
)
def test_the_page_says(badminton_read, said):
    assert said in badminton_read.text


def test_nothing_that_people_write_gets_out_of_its_place(hostile_view):
    read = Reading(job_page(hostile_view))
    assert not [tag for tag, _ in read.starts if tag == "img"]
    assert not [attrs for _, attrs in read.starts if "onerror" in attrs]
    assert len(read.programs) == 2
    assert not [text for text in read.programs if "alert(1)" in text]
    assert HOSTILE in read.text  # it is shown, as text


def test_a_hostile_name_is_shown_wherever_it_belongs(hostile_view):
    text = Reading(job_page(hostile_view)).text
    for place in ("Job ", "Owner", "Bench", "From recording ", "Numbers by ", "Clamp "):
        assert place + HOSTILE in text


def test_half_a_surrogate_pair_does_not_cost_the_page(make):
    job = make.job(mains=1, crosses=0, sequence=("R1",), raw={"owner": "Ida \ud800"})
    assert "Ida ?" in job_page(make.view(job=job, found=()))


def test_a_job_without_pulls_is_a_page_without_a_bed(make):
    text = Reading(job_page(make.view(found=()))).text
    assert "No pull was found for this job." in text
    assert "The bed" not in text
    assert "What the numbers rest on" in text


def test_a_job_of_void_pulls_shows_them_all_the_same(make):
    text = Reading(job_page(make.small(make.bare(1, void=True)))).text
    assert "No reading stands: 1 pull made" in text
    assert "7 planned strings without a pull" in text
    assert "nothing stands in its place" in text


def test_an_uncalibrated_job_says_counts_and_claims_no_force(make):
    view = make.uncalibrated()
    text = Reading(job_page(replace(view, found=view.found[:9]))).text
    assert "every reading is in counts" in text
    assert "Settled top counts" in text
    assert not re.search(r"Loss N\b", text)


def test_a_plain_job_says_what_it_cannot_know(make):
    view = make.plain()
    text = Reading(job_page(replace(view, found=view.found[:9]))).text
    assert "lost or damaged readings cannot be known" in text
    assert "Lost on the linecannot be known" in text
    assert "Device restartscannot be known" in text


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"broke": "R2"}, "String R2 broke and ended this bed."),
        ({"ended_s": None}, "The recording stops before the job was ended"),
        ({"bed": 2}, "bed 2"),
        ({"phi_measured": True}, "measured on this bench"),
    ],
)
def test_what_happened_to_the_job_is_said(make, changes, said):
    assert said in Reading(job_page(make.small(make.bare(1), run=make.run(**changes)))).text


def test_an_order_above_the_frames_limit_is_said(make):
    job = make.job(mains=1, crosses=0, sequence=("R1",), raw={"frame_limit_N": 100})
    text = Reading(job_page(make.view(job=job, found=()))).text
    assert "Ordered above the frame’s own limit of 100\u00a0N" in text


def test_a_check_that_said_stop_is_said_first(make, badminton):
    check = replace(badminton.last_check, verdict="stop")
    text = Reading(job_page(make.view(found=(), last_check=check))).text
    assert text.index("said stop") < text.index("Owner")


def test_thinned_traces_are_owned_up_to(make, badminton):
    t_s = np.linspace(9.7, 14.2, 4000)
    dense = replace(make.bare(1), trace=Trace(boot=0, t_s=t_s, counts=np.full(4000, 9e5)))
    text = Reading(job_page(make.small(dense))).text
    assert "1 trace thinned for drawing" in text


def test_a_page_of_nothing_is_still_a_page():
    read = Reading(page([tag("p", "quiet")], title="a < b"))
    assert "quiet" in read.text
    assert ("html", {"lang": "en"}) in read.starts


unknowns = st.fixed_dictionaries(
    {},
    optional={
        name: st.none()
        for name in (
            "target",
            "top_s",
            "release_s",
            "let_off_s",
            "top",
            "at_3s",
            "expected",
            "release",
            "drop",
            "drop_u",
            "release_u",
            "idle",
            "noise",
            "clamp_shut",
            "position",
        )
    },
)


@settings(max_examples=20, deadline=None)
@given(st.lists(unknowns, min_size=1, max_size=3), st.sampled_from(["N", "counts"]))
def test_whatever_is_not_known_there_is_a_page_a_summary_and_an_answer(make, drawn, unit):
    telling = {"held_position": "L1", "clamp_opened": "A", "seen": True, "at_least_lost": 3.0}
    found = [make.bare(i, **{"unit": unit, **telling, **d}) for i, d in enumerate(drawn, 1)]
    view = make.small(*found)
    assert "nan" not in Reading(job_page(view)).text.lower()
    assert "None" not in summary(view)
    json.dumps(job_json(view), allow_nan=False)


def test_an_order_without_any_number_has_no_picture(make):
    text = Reading(job_page(make.small(make.bare(1, release=None)))).text
    assert "In the order pulled" not in text
    assert "0 of 1 pulls within" in text


def test_what_came_twice_is_counted_and_an_unmeasured_span_error_is_left_out(make, badminton):
    view = make.view(
        found=(),
        ledger=replace(badminton.ledger, duplicates=4),
        last_check=replace(badminton.last_check, span_error_pct=None, age_days=3.2),
    )
    text = Reading(job_page(view)).text
    assert "Came twice, left out4" in text
    assert "2026-03-02 (3 days before): good" in text
    assert "Span error" not in text


def test_a_check_of_the_evening_before_is_not_called_the_same_day(make, badminton):
    check = replace(badminton.last_check, on="2026-03-01", age_days=0.7)
    text = Reading(job_page(make.view(found=(), last_check=check))).text
    assert "2026-03-01 (less than a day before): good" in text


def test_a_bench_without_a_check_says_so(make):
    assert (
        "Last checknone on record"
        in Reading(job_page(make.view(found=(), last_check=None))).text
    )
