"""From fields to a ticket, or to what is wrong beside each."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.page.form import TYPICAL, fields_of, ordered, read_form
from tensionlog.page.words import words_of
from tensionlog.plan import read_ticket
from tensionlog.units import N_PER_LBF

FIELDS = {"owner": "Ilka Vardholm", "tension": "26/25", **TYPICAL["badminton"]}


@pytest.fixture
def read(words):
    def reading(base=None, **changes):
        return read_form({**FIELDS, **changes}, words, unit="lbf", base=base, new_ref="J-9")

    return reading


def test_a_full_form_is_a_ticket_that_can_be_strung(read):
    ticket = read().ticket
    assert ticket["ref"] == "J-9"
    assert ticket["target_mains_N"] == pytest.approx(26 * N_PER_LBF, abs=1e-3)
    assert ticket["head_long_m"] == pytest.approx(0.245)
    assert len(read_ticket(ticket).sequence) == 43


@pytest.mark.parametrize(
    ("field", "text"),
    [("tension", "tight"), ("tension", "2"), ("mains", "many"), ("mains", "0"),
     ("crosses", "61"), ("gauge_mm", "9"), ("limit", "-3"), ("limit", "inf"),
     ("dial", "loose"), ("order", "sideways"), ("owner", "x" * 121), ("head_long_mm", "24.5")],
)  # fmt: skip
def test_nonsense_is_said_beside_its_own_field(read, field, text):
    found = read(**{field: text})
    assert found.ticket is None
    assert list(found.errors) == [field]


def test_the_dial_that_is_used_is_written_down_and_not_taken_over_into_the_next_job(read):
    ticket = read(dial="26.8/25.5").ticket
    assert ticket["dial_N"] == pytest.approx(26.8 * N_PER_LBF, abs=1e-3)
    assert ticket["dial_crosses_N"] == pytest.approx(25.5 * N_PER_LBF, abs=1e-3)
    assert "dial" not in fields_of(ticket, unit="lbf")
    assert "dial_N" not in read(base=ticket).ticket


def test_the_dial_is_advised_for_what_is_ordered_so_far(words):
    found = ordered(
        {"tension": "26/25", "limit": "?"}, words, unit="lbf", base={"prestretch_pct": 10}
    )
    assert sorted(found) == ["prestretch_pct", "target_crosses_N", "target_mains_N"]
    assert ordered({"tension": ""}, words, unit="lbf") == {}


def test_a_target_over_the_limit_is_refused(read):
    found = read(limit="25.5")
    assert found.ticket is None
    assert found.over_limit
    assert "26\u00a0lbf" in found.errors["tension"]
    assert read(limit="26").ticket is not None


def test_over_the_limit_by_name(read):
    found = read(limit="25.5", limit_by=" T. Quill ")
    assert found.ticket["frame_limit_N"] == pytest.approx(25.5 * N_PER_LBF, abs=1e-3)
    assert found.overridden_by == "T. Quill"
    assert read(limit="30", limit_by="T. Quill").overridden_by is None


def test_a_job_starts_from_the_last_one(read):
    first = read(limit="30", string="house nylon").ticket
    again = fields_of(first, unit="lbf")
    assert again["tension"] == "26/25"
    assert again["limit"] == "30"
    assert again["head_wide_mm"] == "190"
    assert "ref" not in again
    assert read(**again).ticket == first


def test_what_has_no_field_is_taken_from_the_base(read):
    base = {"EA_N": 2000.0, "clamps": {"left": "C"}, "mains": 22, "crosses": 21}
    ticket = read(base=base).ticket
    assert (ticket["EA_N"], ticket["clamps"]) == (2000.0, {"left": "C"})


def test_a_decimal_comma_is_a_decimal_point(read):
    assert read(gauge_mm="0,68").ticket["gauge_mm"] == 0.68


def test_markup_and_any_script_in_a_name_are_kept_as_they_are(read):
    name = "<script>alert(1)</script> Ørsted 王 \u202e"
    assert read(owner=name).ticket["owner"] == name.strip()


@given(
    st.dictionaries(
        st.sampled_from([*FIELDS, "limit", "limit_by", "order", "sport"]), st.text()
    )
)
def test_whatever_is_typed_there_is_a_ticket_or_a_reason(fields):
    found = read_form({**FIELDS, **fields}, words_of("en"), unit="lbf")
    assert (found.ticket is None) == bool(found.errors)
    if found.ticket is not None:
        read_ticket(found.ticket)
