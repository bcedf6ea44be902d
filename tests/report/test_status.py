"""How a bench stands, for the terminal."""

from typing import Any

from tensionlog.report.status import alert_lines, status_lines

CLAMP: dict[str, Any] = {
    "clamp": "A", "state": "good", "give_mm": 0.912, "u_give_mm": 0.054, "since": "2026-03-02T",
    "hand_off_loss_N": 9.0, "why_no_mm": None, "problem": None, "needed": 0,
    "tested": "2026-03-02T", "service_due": None, "served": None,
}  # fmt: skip
ALERT = {
    "raised": "2026-03-20T07:06Z", "cause": "clamp-B", "runner_up": "string",
    "text": "It slips.", "do": "Clean it.", "evidence": ["more"], "state": "raised",
    "closed": None,
    "alert": "2026-03-20-clamp-B", "reopened": [],
}  # fmt: skip


def lines(*, clamps=(), alerts=(), cell=(), head=()):
    no_cell = {"checked": None, "verdict": None, "span_error_pct": None, "problem": None}
    return list(
        status_lines(
            {
                "bench": "north",
                "cell": {**no_cell, "u_span_error_pct": None, **dict(cell)},
                "head": {"error_pct": None, "checked": None, **dict(head)},
                "clamps": clamps,
                "alerts": alerts,
            }
        )
    )


def test_nothing_known_is_said():
    said = lines()

    assert said[1:] == [
        "  cell     no morning check yet",
        "  head     not compared with its dial yet",
        "no open alerts, 0 closed.",
    ]


def test_cell_and_head_by_their_last_check():
    cell = {"checked": "2026-03-02T07", "verdict": "good", "span_error_pct": 0.1612}
    said = lines(
        cell={**cell, "u_span_error_pct": 0.012, "problem": "torn"}.items(),
        head={"error_pct": -1.26, "checked": "2026-03-02T"}.items(),
    )

    assert said[1] == "  cell     good on 2026-03-02, span +0.161 ± 0.012 %, torn"
    assert said[2] == "  head     -1.3 % off its dial, 2026-03-02"


def test_a_clamp_in_one_line():
    due = {"at": "2026-05-01", "earliest": "2026-04-12", "latest": None}
    served = {"at": "2026-02-01T", "what": "cleaned"}
    worn = CLAMP | {"state": "watch", "service_due": due, "served": served, "needed": 3}

    assert lines(clamps=[CLAMP])[3] == "  clamp A  good, gives 0.91 ± 0.05 mm, since 2026-03-02"
    assert lines(clamps=[worn])[3] == (
        "  clamp A  WATCH, gives 0.91 ± 0.05 mm, since 2026-03-02, 3 more tests before a "
        "change can be told, service due about 2026-05-01 (2026-04-12 or later), cleaned on "
        "2026-02-01"
    )


def test_newtons_alone_say_why():
    bare = CLAMP | {"give_mm": None, "why_no_mm": "no stiffness", "problem": "no hand-off"}
    bare |= {"since": None}

    assert lines(clamps=[bare])[3] == (
        "  clamp A  good, lost 9.0 N; no stiffness, last test: no hand-off"
    )


def test_open_alerts_say_what_to_do_and_closed_ones_are_counted():
    back = ALERT | {"state": "seen", "runner_up": None, "reopened": ["2026-03-25T"]}
    said = lines(alerts=[ALERT, back, ALERT | {"state": "closed"}])

    assert "NEW: It slips. (clamp-B, 2026-03-20)" in said
    assert "seen: It slips. (clamp-B, 2026-03-20, back since 2026-03-25)" in said
    assert "  do:   Clean it." in said
    assert not any("It could also be" in line for line in said)
    whole = list(alert_lines(ALERT))
    assert whole[-3:] == [
        "  - more",
        "  It could also be string.",
        "  name: 2026-03-20-clamp-B",
    ]
    assert said[-1] == "2 open alerts, 1 closed."


def test_closed_alerts_are_told_where_that_is_asked_for():
    closed = ALERT | {"state": "closed"}
    answer = {"bench": "north", "clamps": [], "alerts": [closed], "head": {"error_pct": None}}
    answer["cell"] = {"checked": None}

    assert "closed: It slips. (clamp-B, 2026-03-20)" in status_lines(answer, closed=True)
    assert "closed: It slips. (clamp-B, 2026-03-20)" not in status_lines(answer)
