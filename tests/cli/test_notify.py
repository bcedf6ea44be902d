"""Telling somebody: a real receiver gets it; one that is not there disturbs nothing."""

import json
import sys
import threading
from contextlib import contextmanager
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest

from tensionlog.cli import notify
from tensionlog.model.history import EVENTS, AlertEvent

pytestmark = [
    # its own import of a module that Python 3.13 has dropped, behind a fallback
    pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning"),
]

BODY = {
    "text": "Clamp B gives more.", "do": "Clean the jaws.", "evidence": ["+0.4 mm"],
    "cause": "clamp-B", "runner_up": "string",
}  # fmt: skip
RAISED = AlertEvent(alert="2026-03-20-clamp-B", event="raised", at_s=1.0, body=BODY)


@contextmanager
def receiver():
    """A server of our own that keeps what it is told."""
    got = []

    class Keep(BaseHTTPRequestHandler):
        def do_POST(self):
            got.append(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
            self.send_response(200)
            self.end_headers()

        def log_message(self, *_):
            pass

    server = HTTPServer(("127.0.0.1", 0), Keep)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    try:
        yield f"json://127.0.0.1:{server.server_port}", got
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def test_a_new_alert_reaches_its_receiver_whole():
    with receiver() as (url, got):
        notify.tell_of([RAISED], [url])

    (message,) = got
    assert message["title"] == "tensionlog: clamp-B"
    for piece in ("Clamp B gives more.", "Do: Clean the jaws.", "+0.4 mm", "also be string"):
        assert piece in message["message"]


def test_only_what_is_new_or_back_is_told():
    events = [replace(RAISED, event=one) for one in EVENTS]
    with receiver() as (url, got):
        notify.tell_of(events, [url])

    assert [m["title"] for m in got] == ["tensionlog: clamp-B", "tensionlog: clamp-B is back"]


def test_one_that_is_not_there_keeps_no_other_from_being_told(capsys):
    with receiver() as (url, got):
        notify.tell_of([RAISED], ["json://127.0.0.1:9", "nonsense", url])

    assert len(got) == 1
    said = capsys.readouterr().err
    assert "address 1 of 'bench alerts --notify' was not reached" in said
    assert "address 2 of 'bench alerts --notify' is none that can be told" in said
    assert "127.0.0.1" not in said


def test_without_the_library_it_is_said_once_and_nothing_else_happens(monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "apprise", None)
    notify.tell_of([RAISED], ["json://127.0.0.1:9"])

    assert "pip install tensionlog[notify]" in capsys.readouterr().err


def test_nobody_to_tell_needs_no_library(monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "apprise", None)
    notify.tell_of([RAISED], [])

    assert capsys.readouterr().err == ""


def test_the_command_tries_whom_the_bench_names(run):
    with receiver() as (url, got):
        assert run("bench", "alerts", "--notify", url).code == 0
        ran = run("alerts", "tell")
    assert ran.out == "Told 1.\n"
    assert got[0]["title"] == "tensionlog: a test"

    ran = run("alerts", "tell")
    assert ran.code == 1
    assert "was not reached" in ran.err
    assert run("bench", "alerts", "--notify-nobody").code == 0
    assert "nobody is to be told" in run("alerts", "tell").err


def test_limits_of_the_clamps_are_written_and_go_into_every_recording(run):
    assert run("bench", "alerts", "--watch-mm", "0.8", "--service-mm", "1.5").code == 0
    assert run("bench", "alerts", "--slip-n", "2").code == 0

    limits = run("bench", "--json").rows[0]["hold_limits"]
    assert limits == {"watch_mm": 0.8, "service_mm": 1.5, "slip_n": 2.0}
    assert "hold_limits" in run("bench", "alerts", "--watch-mm", "-1").err
    assert "notify" in run("bench", "alerts", "--notify", "nobody").err
