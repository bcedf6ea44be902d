"""What levers and trace say of one another, in one line."""

from dataclasses import replace

from tensionlog.model.sitting import Levers
from tensionlog.report.lever_words import lever_words

LEVERS = Levers(
    releases=20, seen=14, found=13, elsewhere=1, other_clamp=0, late_s=0.0042, spread_s=0.0031,
    drop=-0.012, drop_spread=0.0214, unit="N",
)  # fmt: skip


def test_all_of_it_is_one_line():
    assert lever_words(LEVERS) == (
        "levers marked 20 releases, 14 of them fell far enough to be told from zero; the trace "
        "alone found 13 and put 1 elsewhere; its moment is 4 ms after the lever's (spread "
        "3 ms); its steps differ by -0.012 N (spread 0.0214)"
    )


def test_what_is_not_known_is_not_said():
    few = replace(LEVERS, late_s=-0.004, spread_s=None, drop=None, elsewhere=0, other_clamp=1)
    said = lever_words(few)
    assert "4 ms before the lever's" in said
    assert "spread" not in said
    assert "differ" not in said
    assert "1 lever of another clamp than planned opened" in said
