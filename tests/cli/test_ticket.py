"""Tickets from files and flags, checked before a single byte is recorded."""

import json

import pytest

from tensionlog.cli.ticket import checked, read_ticket_file, tensions
from tensionlog.errors import PlanError

TICKET = {"ref": "T-1", "mains": 10, "crosses": 9, "target_mains_N": 110.0}


@pytest.mark.parametrize(
    ("text", "unit", "mains_n", "crosses_n"),
    [
        ("26/24", "lbf", 115.654, 106.757),
        ("26/24 lb", "N", 115.654, 106.757),
        ("12kgf", "lbf", 117.680, 117.680),
        ("24.5", "lbf", 108.981, 108.981),
        (" 110 / 108 N ", "kgf", 110.0, 108.0),
    ],
)
def test_tensions_are_read_as_people_write_them(text, unit, mains_n, crosses_n):
    """Pounds by the international pound, 4.4482216152605 N exactly (units.py)."""
    assert tensions(text, unit=unit) == {
        "target_mains_N": pytest.approx(mains_n, abs=6e-4),
        "target_crosses_N": pytest.approx(crosses_n, abs=6e-4),
    }


@pytest.mark.parametrize("text", ["", "tight", "26/", "26-24", "1.2.3", "24 stone", "-5"])
def test_what_is_no_tension_is_refused(text):
    with pytest.raises(PlanError, match="is no tension"):
        tensions(text, unit="lbf")


def test_a_ticket_is_read_from_json_and_from_toml(tmp_path):
    (tmp_path / "a.json").write_text(json.dumps(TICKET))
    (tmp_path / "n.json").write_text(json.dumps({"note": "job-start", "job": TICKET}))
    (tmp_path / "a.toml").write_text(
        "\n".join(f"{k} = {json.dumps(v)}" for k, v in TICKET.items())
    )

    for name in ("a.json", "n.json", "a.toml"):
        assert read_ticket_file(tmp_path / name) == TICKET


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.json", b"{"),
        ("a.json", b"[1]"),
        ("a.json", b"\x89PNG"),
        ("a.toml", b"mains: 3"),
        ("a.toml", b"\xff\xfe"),
    ],
)
def test_a_file_that_is_no_ticket_is_refused_in_one_line(tmp_path, name, content):
    (tmp_path / name).write_bytes(content)

    with pytest.raises(PlanError) as caught:
        read_ticket_file(tmp_path / name)

    assert name in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_ticket_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(PlanError, match="cannot read the ticket"):
        read_ticket_file(tmp_path / "none.json")


def test_a_ticket_that_can_be_strung_is_passed_on_as_it_is():
    assert checked(TICKET) == TICKET


@pytest.mark.parametrize(
    "wrong", [{"target_mains_N": 0.0}, {"mains": -1}, {"order": "zigzag"}, {"mains": 0}]
)
def test_a_ticket_that_cannot_be_strung_is_refused(wrong):
    ticket = {"mains": 10, "crosses": 0, **wrong}

    with pytest.raises(PlanError):
        checked(ticket)
