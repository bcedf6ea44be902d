"""`clamps`: the maintenance page, written where it is asked for."""


def test_the_page_is_written_and_the_state_said(run, db, tmp_path):
    ran = run("clamps", "--db", db, "--out", tmp_path)

    page = tmp_path / "clamps-north.html"
    assert ran.code == 0
    assert ran.out.startswith("Bench north")
    assert str(page) in ran.err
    assert "<h1>" in page.read_text(encoding="utf-8")


def test_as_json_with_its_status(run, db, tmp_path):
    (answer,) = run("clamps", "--db", db, "--out", tmp_path / "p.html", "--json").rows

    assert answer["page"] == str(tmp_path / "p.html")
    assert answer["status"]["bench"] == "north"


def test_a_place_that_does_not_take_it_is_one_line(run, db, tmp_path):
    (tmp_path / "file").write_text("")
    ran = run("clamps", "--db", db, "--out", tmp_path / "file" / "p.html")

    assert "Choose another place." in ran.err
    assert ran.code == 2
