"""Sentences that page and terminal share."""

from dataclasses import replace

from tensionlog.model.sitting import Ledger
from tensionlog.report import says
from tensionlog.report.basis import basis_info
from tensionlog.report.rounding import Reader
from tensionlog.report.spread import ClampEvidence, Redone, spread_info

N = Reader("N")


def test_sides_are_told_apart_only_beyond_two_u(make):
    near = spread_info(make.view())
    assert says.side_sentence(near, N).startswith("The sides cannot be told apart")
    far = replace(near, side_difference=2.0, side_u=0.5)
    assert says.side_sentence(far, N) == (
        "The mean loss of the left mains is higher by 2.0 ± 0.5\u00a0N."
    )
    assert "right" in says.side_sentence(replace(far, side_difference=-2.0), N)


def test_too_few_mains_are_not_compared(make):
    spread = spread_info(make.small(make.bare(1)))
    assert says.side_sentence(spread, N) == "Not enough mains on both sides to compare them."


def test_a_clamp_is_told_by_its_count_and_its_interval():
    clamp = ClampEvidence(
        clamp="A", releases=20, seen=1, low=0.009, high=0.236, most_give_mm=0.84, at="L5"
    )
    assert says.clamp_sentence(clamp) == (
        "Clamp A: a step at 1 of 20 mains (95\u00a0% interval 1 to 24\u00a0%); "
        "most given, at least 0.8\u00a0mm on L5."
    )
    assert says.clamp_sentence(replace(clamp, most_give_mm=None)).endswith("24\u00a0%).")


def test_redone_pulls_say_what_came_of_them():
    again = Redone(name="R5", number=9, release=94.6, stood_number=10, stood_release=103.2)
    assert says.redone_text(again, N) == (
        "R5 (pull 9) read 94.6\u00a0N; pull 10 stands with 103.2\u00a0N."
    )
    lost = replace(again, release=None, stood_number=None)
    assert says.redone_text(lost, N) == (
        "R5 (pull 9) gave no reading; nothing stands in its place."
    )
    assert "no reading" in says.redone_text(replace(again, stood_release=None), N)


def test_lost_readings_are_counted_or_cannot_be_known(make):
    def text(ledger):
        return says.lost_text(basis_info(make.view(ledger=ledger)))

    assert text(Ledger(samples=997, missing=3)) == "3 (0.3 %); nothing was filled in"
    assert text(Ledger(samples=997)) == "none"
    assert text(Ledger(missing=None)) == says.CANNOT_KNOW


def test_faults_are_said_in_words_unknown_ones_by_their_name(make):
    faults = Ledger(faults={"saturated": 2, "gremlin": 1})
    text = says.faults_text(basis_info(make.view(ledger=faults)))
    assert text == "reading at the end of the converter’s range: 2; gremlin: 1"


def test_a_calibration_without_a_name_or_a_date_says_so(make, badminton):
    basis = basis_info(badminton)
    assert says.calibration_text(basis) == "spring 3, 2026-02-11"
    bare = replace(basis, calibration_name="", calibration_date=None)
    assert says.calibration_text(bare) == "without a name, date not recorded"
    assert "the device’s own" in says.calibration_text(basis_info(make.plain()))
    assert "none" in says.calibration_text(basis_info(make.uncalibrated()))


def test_the_uncertainty_says_what_is_in_it_and_what_is_assumed(make, badminton):
    def said(view):
        return " ".join(says.uncertainty_sentences(basis_info(view), view.reader))

    assert "the scale’s 0.25 % (checked)" in said(badminton)
    unknown = said(replace(badminton, u_calibration_pct=None))
    assert "the scale’s 0.5 % (assumed, since no check is on record)" in unknown
    assert "there is no calibration" in said(make.uncalibrated())
    assert "typically 0.030\u00a0N" in said(badminton)


def test_the_dead_band_is_said_in_newtons_and_millimetres(make):
    def text(**job):
        view = make.view(job=make.job(**job))
        return says.dead_band_text(basis_info(view), N)

    assert text() == "5.2\u00a0N, or 0.6\u00a0mm of a main"
    assert text(ea_mains_n=None).endswith("no millimetres)")
    assert says.dead_band_text(basis_info(make.view(found=())), N) == "–"


def test_relaxation_is_said_with_its_origin(make):
    assert says.relaxation_text(basis_info(make.view())) == (
        "4.5 % per decade of time, from 0.20 s"
    )
    none = make.view(run=make.run(relaxation=None))
    assert "only a lockout head" in says.relaxation_text(basis_info(none))


def test_what_friction_hides_is_said_with_its_size(make):
    assert "less than 5.2\u00a0N shows no step" in says.blind_sentence(
        basis_info(make.view()), N
    )
    assert "inside the dead band" in says.blind_sentence(basis_info(make.view(found=())), N)
