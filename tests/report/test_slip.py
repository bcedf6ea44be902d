"""The slip says what was ordered and pulled, and does not say what the bed holds."""

import re
import statistics
from dataclasses import replace
from datetime import date

from tensionlog.report.rounding import Reader
from tensionlog.report.slip import Practice, next_restring, pulled, slip_page


def test_it_says_the_mean_and_spread_of_the_pulls_that_stand(badminton):
    mains, crosses = pulled(badminton)
    stands = {}
    for found in badminton.pulls:
        if not found.pull.void and found.pull.release is not None:
            stands[found.pull.position] = found.pull.release
    own = [reading for name, reading in stands.items() if name and name[0] in "LR"]
    assert mains.n == len(own)
    assert mains.mean == statistics.fmean(own)
    assert mains.spread == statistics.stdev(own)
    assert crosses.n == len(stands) - len(own)


def test_it_claims_the_pull_and_not_the_bed(badminton):
    page = slip_page(badminton)
    assert "The strung bed holds less than that" in page
    assert Reader("N").order(badminton.job.target_mains_n).partition("\u00a0")[0] in page


def test_the_next_restring_is_the_workshop_s_practice(badminton):
    page = slip_page(badminton, Practice(workshop="An invented shop", restring_days=90))
    due = next_restring(badminton.recorded_on.date(), 90)
    assert f"{due:%d %B %Y}" in page
    assert "An invented shop" in page
    assert "Next restring" not in slip_page(badminton)


def test_a_leap_day_is_a_day():
    assert next_restring(date(2028, 2, 1), 29) == date(2028, 3, 1)


def test_markup_in_a_name_is_text_and_nothing_is_loaded(badminton):
    raw = {**badminton.job.raw, "owner": "<img src=x onerror=alert(1)>"}
    page = slip_page(replace(badminton, job=replace(badminton.job, raw=raw)))
    assert "<img" not in page
    assert "&lt;img" in page
    assert not re.findall(r"(?:src|href)=|https?://|url\(", page.replace("&lt;img src=", ""))


def test_a_job_without_pulls_has_a_slip_all_the_same(badminton):
    page = slip_page(replace(badminton, found=()))
    assert "no reading" in page
