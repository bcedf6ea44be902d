"""The further figures of a check, each against the bench's tolerance."""

from tensionlog.check.verdict import Tolerance
from tensionlog.report.check_measures import MEASURES, is_over, limit_of, measures_table

CHECK = {"nonlinearity_pct": 0.02, "reversibility_pct": 0.7, "zero_return_N": -0.05}


def test_each_figure_stands_beside_the_tolerance_and_its_name_in_the_standard():
    said = measures_table(CHECK, Tolerance())

    assert "reversibility, v" in said and "0.700 %" in said and "0.5 %" in said
    assert "−0.050 N" in said and "0.3 N" in said
    assert said.count("not made") == 2


def test_what_is_beyond_the_tolerance_carries_a_sign_and_a_word():
    over = [m.name for m in MEASURES if is_over(m, CHECK, Tolerance())]

    assert over == ["going up against coming down"]
    assert measures_table(CHECK, Tolerance()).count("◆ look") == 1
    assert limit_of(MEASURES[0], Tolerance(pct_of_load=0.8)) == 0.8
