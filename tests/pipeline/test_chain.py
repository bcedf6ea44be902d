"""From a pull back to the masses, with the uncertainty of its force."""

from dataclasses import replace
from datetime import timedelta

import pytest

from tensionlog.check.result import u_force_n
from tensionlog.errors import StoreError
from tensionlog.pipeline.chain import chain_of, pull_of_job
from tensionlog.pipeline.replay import replay_all
from tensionlog.report.chain_text import chain_lines
from tensionlog.store import Store
from tensionlog.twin import draw_bench, play_check, play_job
from tensionlog.twin.played import FIRST_DAY

BENCH = draw_bench(31)


@pytest.fixture(scope="module")
def db(tmp_path_factory):
    """A check, then a job of two strings; the check of the next day counts for nothing."""
    folder = tmp_path_factory.mktemp("day")
    for name, days, more in (("a", 0.0, 20.0), ("c", 1.0, 10.0)):
        check = play_check(
            seed=31, bench=BENCH, masses_kg=(more,), settle_s=4.0,
            started=FIRST_DAY + timedelta(days=days),
        )  # fmt: skip
        (folder / f"{name}.rec").write_bytes(check.recording)
    job = play_job(
        seed=5, sport="squash", mains=2, crosses=0, pace=0.3, bench=BENCH,
        started=FIRST_DAY + timedelta(hours=1),
    )  # fmt: skip
    (folder / "b.rec").write_bytes(job.recording)
    path = folder / "a.db"
    with Store(path) as store:
        list(replay_all(sorted(folder.glob("*.rec")), store=store))
    return path


@pytest.fixture
def store(db):
    with Store(db) as opened:
        yield opened


def test_the_chain_leads_from_the_pull_to_the_masses_of_that_morning(store):
    chain = chain_of(store, pull_of_job(store, position="R1", ref=None))
    answer = chain.answer()

    assert answer["position"] == "R1"
    assert answer["check"]["started"].startswith("2026-03-02")
    assert answer["reference"]["masses_kg"] == [20.0]
    assert answer["reference"]["u_mass_pct"] == 0.02
    assert answer["calibration"]["kind"] is None  # typed, not found by any check
    cell, reading = answer["parts_N"]["cell"], answer["parts_N"]["reading"]
    assert answer["u_N"] == pytest.approx((cell**2 + reading**2) ** 0.5)
    assert cell == pytest.approx(
        u_force_n(
            force_n=chain.force_n,
            top_n=answer["check"]["range_N"],
            u_span_pct=answer["check"]["u_span_error_pct"],
            nonlinearity_pct=chain.check["nonlinearity_pct"] or 0.0,
        )
    )


def test_it_is_said_in_plain_lines(store):
    answer = chain_of(store, pull_of_job(store, position="R1", ref=None)).answer()

    text = "\n".join(chain_lines(answer))

    assert "R1 in b.rec:" in text
    assert "typed into the set-up" in text
    assert "masses of 20 kg, weighed, ± 0.02 % standard; free fall 9.8123" in text


def test_a_pull_before_any_check_has_no_uncertainty(store):
    pull = pull_of_job(store, position="L1", ref=None)
    with Store.memory() as bare:
        sitting = next(r for r in store.recordings() if r.recording_id == pull.recording_id)
        number = bare.begin(sitting.header, name="b.rec")
        chain = chain_of(bare, replace(pull, recording_id=number))

    assert chain.u_n is None and chain.check is None
    assert any("none before this sitting" in line for line in chain_lines(chain.answer()))


def test_what_is_not_there_is_said_with_what_is(store):
    with pytest.raises(StoreError, match=r"no pull 'X9'. It has L1"):
        pull_of_job(store, position="X9", ref=None)
    with pytest.raises(StoreError, match="no job T-0"):
        pull_of_job(store, position="L1", ref="T-0")


def test_beyond_the_heaviest_mass_the_doubt_grows_faster_than_the_force():
    def u(force_n: float) -> float:
        return u_force_n(force_n=force_n, top_n=100.0, u_span_pct=0.02)

    assert u(100.0) == pytest.approx(0.02)
    assert u(200.0) > 4 * u(100.0)
