"""The ticket: order of the strings, their lengths and targets, and what is refused."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionlog.errors import PlanError
from tensionlog.model.job import Job
from tensionlog.plan import read_ticket, spans_of

BEDS = st.tuples(st.integers(0, 40), st.integers(0, 40))


# ------------------------------------------------------------------------------- laws


@given(bed=BEDS, order=st.sampled_from(["alternate", "left-then-right"]))
def test_every_string_of_the_bed_is_pulled_once_and_crosses_come_last(ticket, bed, order):
    mains, crosses = bed
    job = read_ticket(ticket | {"mains": mains, "crosses": crosses, "order": order})
    left, right = mains // 2, mains - mains // 2

    assert len(job.sequence) == len(set(job.sequence)) == mains + crosses
    assert [p for p in job.sequence if p[0] == "L"] == [f"L{i + 1}" for i in range(left)]
    assert [p for p in job.sequence if p[0] == "R"] == [f"R{i + 1}" for i in range(right)]
    assert list(job.sequence[mains:]) == [f"X{i + 1}" for i in range(crosses)]


@given(BEDS)
def test_alternating_sides_stay_level_within_one_string(ticket, bed):
    mains, _ = bed
    sequence = read_ticket(ticket | {"mains": mains}).sequence[:mains]

    for n in range(mains):
        left = sum(p[0] == "L" for p in sequence[: n + 1])
        assert abs(left - (n + 1 - left)) <= 1


@given(BEDS)
def test_every_position_has_a_length_between_the_chord_at_the_tip_and_the_head(ticket, bed):
    mains, crosses = bed
    job = read_ticket(ticket | {"mains": mains, "crosses": crosses})

    assert set(job.spans_m) == set(job.sequence)
    for position, span_m in job.spans_m.items():
        along_m = 0.22 if position[0] == "X" else 0.30
        assert along_m * math.sqrt(0.05) <= span_m <= along_m


@given(st.integers(1, 20))
def test_an_even_bed_is_the_same_left_and_right(half: int):
    spans = spans_of({"head_long_m": 0.3, "head_wide_m": 0.2}, mains=2 * half, crosses=0)

    for i in range(1, half + 1):
        assert spans[f"L{i}"] == pytest.approx(spans[f"R{i}"], rel=1e-12)


@given(st.permutations(["L1", "R1", "L2", "R2", "R3", "X1", "X2"]), st.booleans())
def test_an_explicit_order_is_kept_however_it_is_written(ticket, order, as_key: bool):
    listed = {"order": "sequence", "sequence": order} if as_key else {"order": order}

    job = read_ticket(ticket | {"mains": 5, "crosses": 2} | listed)

    assert list(job.sequence) == list(order)


# ------------------------------------------------------------------------------ spans


def test_spans_are_an_ellipses_chords_kept_off_the_tip():
    """By hand: x = ((i + ½)/n · 2 − 1)·0.93, span = length·√max(1 − x², 0.05)."""
    spans = spans_of({"head_long_m": 0.34, "head_wide_m": 0.26}, mains=4, crosses=2)

    assert spans == pytest.approx(
        {
            "L2": 0.34 * math.sqrt(1 - (0.75 * 0.93) ** 2),
            "L1": 0.34 * math.sqrt(1 - (0.25 * 0.93) ** 2),
            "R1": 0.34 * math.sqrt(1 - (0.25 * 0.93) ** 2),
            "R2": 0.34 * math.sqrt(1 - (0.75 * 0.93) ** 2),
            "X1": 0.26 * math.sqrt(1 - (0.5 * 0.93) ** 2),
            "X2": 0.26 * math.sqrt(1 - (0.5 * 0.93) ** 2),
        }
    )


def test_with_an_odd_number_of_mains_the_extra_one_is_right(ticket):
    job = read_ticket(ticket | {"mains": 5, "crosses": 0})

    assert job.sequence == ("L1", "R1", "L2", "R2", "R3")
    assert job.spans_m["R1"] == pytest.approx(0.30)  # the middle of five
    assert job.spans_m["L1"] == pytest.approx(job.spans_m["R2"])
    assert job.spans_m["L2"] == pytest.approx(job.spans_m["R3"])


def test_measured_spans_come_before_the_ellipse(ticket):
    job = read_ticket(ticket | {"spans_m": {"X2": 0.111}})

    assert job.spans_m["X2"] == 0.111
    assert job.spans_m["X3"] == pytest.approx(0.22 * math.sqrt(1 - (0.25 * 0.93) ** 2))


def test_without_a_head_only_the_given_spans_are_known(ticket):
    bare = {k: v for k, v in ticket.items() if not k.startswith("head_")}

    assert read_ticket(bare).spans_m == {}
    assert read_ticket(bare | {"spans_m": {"L1": 0.3}}).spans_m == {"L1": 0.3}


# --------------------------------------------------------------------- what is ordered


def test_the_target_of_a_position_comes_before_that_of_its_kind(ticket):
    job = read_ticket(ticket | {"targets": {"X2": 99.0, "L1": 130}})

    assert [job.target_n(p) for p in ("L1", "L2", "X1", "X2")] == [130.0, 120.0, 116.0, 99.0]


def test_a_hybrid_has_a_stiffness_of_its_own_for_mains_and_crosses(ticket):
    job = read_ticket(ticket | {"EA_mains_N": 9000.0, "EA_crosses_N": 5000.0})

    assert (job.ea_n("R2"), job.ea_n("X2")) == (9000.0, 5000.0)


def test_one_stiffness_serves_both_where_only_one_is_given(ticket):
    job = read_ticket(ticket | {"EA_crosses_N": 5000.0})

    assert (job.ea_n("L1"), job.ea_n("X1")) == (4000.0, 5000.0)


def test_a_typed_stiffness_is_uncertain_by_thirty_per_cent(ticket):
    assert read_ticket(ticket).u_ea_pct == 30.0
    assert read_ticket(ticket | {"u_EA_pct": 4}).u_ea_pct == 4.0
    assert read_ticket(ticket | {"u_EA_pct": 0}).u_ea_pct == 0.0


def test_an_almost_empty_ticket_is_read_and_kept_whole():
    assert read_ticket({"ref": "bare"}) == Job(
        ref="bare",
        sport="",
        mains=0,
        crosses=0,
        target_mains_n=None,
        target_crosses_n=None,
        targets_n={},
        sequence=(),
        clamp_left=None,
        clamp_right=None,
        clamp_start=None,
        clamps_crosses=(),
        ea_mains_n=None,
        ea_crosses_n=None,
        u_ea_pct=30.0,
        spans_m={},
        raw={"ref": "bare"},
    )


# -------------------------------------------------------------------- what is refused


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"target_mains_N": 0}, "target_mains_N = 0. Give a force above 0 newtons"),
        ({"target_crosses_N": -3.5}, "target_crosses_N = -3.5"),
        ({"target_mains_N": "54 lb"}, "target_mains_N = '54 lb'"),
        ({"target_mains_N": True}, "target_mains_N = True"),
        ({"target_mains_N": math.inf}, "target_mains_N = inf"),
        ({"EA_N": math.nan}, "EA_N = nan"),
        ({"targets": {"X2": 0.0}}, "X2 = 0.0"),
        ({"targets": {"X9": 99.0}}, "99.0 N at 'X9', which is not a position"),
        ({"targets": [99.0]}, "targets = [99.0]"),
        ({"mains": 16.5}, "mains = 16.5. Give a whole number"),
        ({"crosses": -1}, "crosses = -1"),
        ({"mains": 201}, "mains = 201"),
        ({"crosses": True}, "crosses = True"),
        ({"clamps": "AB"}, "clamps = 'AB'"),
        ({"spans_m": {"L1": "long"}}, "L1 = 'long'. Give a length above 0 m"),
        ({"head_long_m": "0.34"}, "head_long_m = '0.34'"),
        ({"u_EA_pct": "few"}, "u_EA_pct = 'few'"),
        ({"order": "centre-out"}, "order = 'centre-out'"),
        ({"order": "sequence"}, "lists no `sequence`"),
        ({"order": ["L1", "L7"]}, "names 'L7', which a bed of 6 mains and 4 crosses"),
        ({"order": ["L1", "x1"]}, "names 'x1'"),
        ({"order": ["L1", "R1", "L1"]}, "names 'L1' twice"),
    ],
)
def test_what_cannot_be_strung_is_refused_in_one_line(ticket, wrong, said):
    with pytest.raises(PlanError, match=re.escape(said)) as refused:
        read_ticket(ticket | wrong)

    assert "\n" not in str(refused.value)
