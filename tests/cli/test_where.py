"""`tensionlog` alone."""


def test_on_a_new_machine_it_says_what_to_do_and_makes_nothing(
    run, own_config, monkeypatch, tmp_path
):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "nothing"))
    ran = run()
    assert ran.code == 0
    assert "No bench is set up yet." in ran.out
    assert "tensionlog demo" in ran.out
    assert not own_config.exists()


def test_with_a_bench_and_a_job_it_says_what_is_missing(run, db):
    run("bench", "set", "--name", "north", "--port", "/dev/nowhere", "--database", db)
    ran = run()
    assert ran.out.splitlines()[0] == "Bench north, port /dev/nowhere."
    assert "No morning check yet." in ran.out
    assert "Next: tensionlog check" in ran.out
