"""`bench`: the set-up of a bench, written once."""


def test_before_it_is_written_the_defaults_are_shown(run, own_config):
    ran = run("bench")

    assert ran.code == 0
    assert 'bench = "bench"' in ran.out
    assert f"Not written yet; 'tensionlog bench set' writes it to {own_config}" in ran.err
    assert not own_config.exists()


def test_a_flag_shows_where_it_is_kept(run, own_config):
    assert run("bench", "--where").out == f"{own_config / 'bench.toml'}\n"


def test_what_is_set_is_shown_and_the_rest_stays(run):
    run("bench", "set", "--name", "north", "--head", "lockout", "--tail-m", "0.35")
    run("bench", "set", "--zero-counts", "84211", "--counts-per-n", "9120", "--rate-hz", "80")

    (row,) = run("bench", "--json").rows

    assert (row["bench"], row["tensioner"], row["tail_m"]) == ("north", "lockout", 0.35)
    assert row["calibration"] == {"zero_counts": 84211.0, "counts_per_N": 9120.0}
    assert row["rate_hz"] == 80.0


def test_a_polynomial_and_two_numbers_take_each_others_place(run):
    run("bench", "set", "--zero-counts", "1", "--counts-per-n", "2")
    run("bench", "set", "--polynomial", "[-9.2, 1.1e-4]", "--calibration-name", "spring")

    (row,) = run("bench", "--json").rows
    assert row["calibration"] == {"polynomial": [-9.2, 1.1e-4], "name": "spring"}

    run("bench", "set", "--zero-counts", "1", "--counts-per-n", "2")

    (row,) = run("bench", "--json").rows
    assert row["calibration"] == {"name": "spring", "zero_counts": 1.0, "counts_per_N": 2.0}


def test_a_wrong_value_is_refused_and_nothing_is_written(run, own_config):
    ran = run("bench", "set", "--tail-m", "-1")

    assert ran.code == 1
    assert "tail_m = -1.0. Give metres" in ran.error
    assert not own_config.exists()


def test_half_a_calibration_is_refused(run):
    ran = run("bench", "set", "--zero-counts", "1")

    assert ran.code == 1
    assert "zero_counts and counts_per_N" in ran.error


def test_a_polynomial_that_is_no_list_is_wrong_usage(run):
    assert run("bench", "set", "--polynomial", "one, two").code == 2


def test_a_file_that_was_spoilt_is_told_in_one_line(run, own_config):
    own_config.mkdir()
    (own_config / "bench.toml").write_bytes(b"\xff\xfe")

    ran = run("bench")

    assert ran.code == 1
    assert "bench.toml" in ran.error


def test_a_place_that_takes_no_file_is_told(run, own_config):
    own_config.write_text("a file, not a folder")

    ran = run("bench", "set", "--name", "north")

    assert ran.code == 1
    assert "TENSIONLOG_CONFIG" in ran.error
