"""The server itself, over a real socket: what it serves, and what it turns away."""

import http.client
import json
import threading
import time
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tensionlog.cli.serve import page_server
from tensionlog.errors import LinkError
from tensionlog.model.recording import Header
from tensionlog.page.guard import MOST_BODY
from tensionlog.pipeline.bench_capture import BenchCapture
from tensionlog.settings import BenchSettings
from tensionlog.store import Store

ME, OTHER = "a" * 24, "b" * 24
TICKET = {
    "owner": "<script>alert(1)</script>", "mains": "4", "crosses": "2", "tension": "26",
    "frame": "unbranded 4U frame", "sport": "badminton",
}  # fmt: skip


def no_device():
    raise LinkError("there is no /dev/ttyNONE. Plug it in.")


@contextmanager
def running(folder: Path, host: str = "127.0.0.1"):
    """A server without a device; yields it and its port."""
    capture = BenchCapture(port=None, reopen=no_device, clock_s=time.monotonic, utc_s=time.time)
    settings = BenchSettings(
        bench="quiet", calibration={"zero_counts": 0, "counts_per_N": 9000.0}, unit="lbf"
    )
    with page_server(
        settings, capture=capture, folder=folder, db=folder / "a.db", host=host
    ) as server:
        at: list[int] = []
        thread = threading.Thread(target=server.run, args=(at.append,))
        thread.start()
        try:
            while not at:
                time.sleep(0.01)
            yield server, at[0]
        finally:
            server.stop()
            thread.join(10.0)


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    with running(tmp_path_factory.mktemp("served")) as (server, port):
        yield server, port


def ask(port, path, *, method="GET", body=None, **headers):
    """One request as it is written, nothing tidied up on the way."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    named = {k.replace("_", "-"): v for k, v in headers.items()}
    connection.putrequest(method, path, skip_host="host" in named)
    for name, value in named.items():
        connection.putheader(name, value)
    if body is not None:
        connection.putheader("content-length", str(len(body)))
    connection.endheaders(body)
    answer = connection.getresponse()
    found = answer.status, answer.read(), answer.headers
    connection.close()
    return found


def do(port, client=ME, **command):
    body = json.dumps({"client": client, **command}).encode()
    status, answer, _ = ask(
        port, "/do", method="POST", body=body, content_type="application/json", x_tensionlog="1"
    )
    return status, json.loads(answer) if answer.startswith(b"{") else answer


@contextmanager
def events(port, client=ME):
    """The stream of one page; call what is given for its next state."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    connection.request("GET", f"/events?client={client}")
    stream = connection.getresponse()

    def state(until=lambda _state: True):
        while line := stream.readline():
            if line.startswith(b"data: {") and b'"stage"' in line:
                found = json.loads(line[6:])
                if until(found):
                    return found
        raise AssertionError("the stream ended")

    try:
        yield state
    finally:
        stream.close()
        connection.close()


def test_the_page_and_its_files_are_served_with_their_policy(served):
    _, port = served
    for path in ("/", "/static/page.js", "/static/page.css", "/words.json"):
        status, body, headers = ask(port, path)
        assert (status, bool(body)) == (200, True)
        assert "default-src 'none'" in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize(
    "path",
    ["/static/../words/en.json", "/static/..%2f..%2fguard.py", "/static/%2e%2e/guard.py",
     "/static//etc/passwd", "/static/page.html", "/job/../../etc/passwd/slip",
     "/job/1-1%00/slip", "/job/1;drop/report", "/nothing"],
)  # fmt: skip
def test_a_path_outside_leads_nowhere(served, path):
    assert ask(served[1], path)[0] == 404


def test_a_request_from_another_page_is_refused(served):
    _, port = served
    body = json.dumps({"client": ME, "do": "check"}).encode()
    own = {"content_type": "application/json", "x_tensionlog": "1"}
    for more in ({"origin": "http://evil.example"}, {"sec_fetch_site": "cross-site"}):
        assert ask(port, "/do", method="POST", body=body, **own, **more)[0] == 403
    assert ask(port, "/do", method="POST", body=body, content_type="text/plain")[0] == 403
    assert ask(port, "/", host="evil.example")[0] == 421


def test_an_oversized_request_is_refused(served):
    _, port = served
    own = {"content_type": "application/json", "x_tensionlog": "1"}
    big = b'{"client": "' + b"a" * MOST_BODY + b'"}'
    assert ask(port, "/do", method="POST", body=big, **own)[0] == 413


@pytest.mark.parametrize("body", [b"", b"[]", b"{", b'{"client": 3}', b'{"client": "short"}'])
def test_what_is_no_command_is_refused(served, body):
    own = {"content_type": "application/json", "x_tensionlog": "1"}
    assert ask(served[1], "/do", method="POST", body=body, **own)[0] == 400


def test_without_a_device_the_page_says_so(served):
    with events(served[1]) as state:
        found = state()
    assert found["link"]["state"] == "gone"
    assert found["alarms"][0].startswith("GONE: The device is not there yet.")


def test_two_pages_follow_and_one_drives(served):
    _, port = served
    with events(port, ME) as mine, events(port, OTHER) as theirs:
        assert mine()["driver"] == ME
        theirs()
        assert do(port, OTHER, do="check")[0] == 409
        assert do(port, OTHER, do="drive")[0] == 200
        assert mine(lambda s: s["driver"] == OTHER)["driver"] == OTHER
        assert do(port, ME, do="check")[0] == 409
        assert do(port, ME, do="drive")[0] == 200


def test_nonsense_in_a_ticket_is_said_beside_the_field_and_nothing_begins(served):
    server, port = served
    with events(port, ME):
        status, answer = do(port, do="ticket", fields={**TICKET, "tension": "hard"})
    assert status == 422
    assert list(answer["errors"]) == ["tension"]
    assert server.shell.desk.bench.now.path is None


def test_a_job_is_recorded_even_without_a_device_and_markup_stays_text(tmp_path):
    with running(tmp_path) as (_, port), events(port, ME) as state:
        assert do(port, do="ticket", fields=TICKET)[0] == 200
        found = state(lambda s: s["stage"] == "before")
        assert found["title"].startswith("<script>")
        assert do(port, do="ticket", fields=TICKET)[1]["text"].startswith("A job is under way")
        assert do(port, do="skip")[0] == 200
        state(lambda s: s["stage"] == "before" and s["step"]["number"] == 2)
        assert do(port, do="give-up", why="no device")[0] == 200
        state(lambda s: s["stage"] == "home")
        wanted = time.monotonic() + 10
        while not (rows := json.loads(ask(port, "/history.json?q=script")[1])["jobs"]):
            assert time.monotonic() < wanted
        slip = ask(port, f"/job/{rows[0]['name']}/slip")[1].decode()
        assert "&lt;script&gt;" in slip
        assert "<script" not in slip
        status, page, _ = ask(port, "/clamps")
        assert (status, b"quiet" in page, b"<script" in page) == (200, True, False)
        assert ask(port, "/cell")[0] == 404  # no check was made
    (path,) = tmp_path.glob("*.rec")
    names = [json.loads(x[2:])["note"] for x in path.read_bytes().splitlines() if x[:1] == b"!"]
    assert names == ["job-start", "inspect", "job-end", "given-up"]


@pytest.mark.parametrize(("verdict", "dial"), [("good", "26.8/25.8"), ("adjust", "")])
def test_a_ticket_is_told_what_to_dial_and_the_check_is_shown(tmp_path, verdict, dial):
    header = Header(bench="quiet", purpose="check", started=datetime.now(UTC))
    pulls = [{"set_N": s, "peak_N": 0.97 * s, "at_3s_N": 0.95 * s} for s in (90.0, 120.0)] * 2
    with Store(tmp_path / "a.db") as store:
        number = store.begin(header, name="x.rec")
        store.add_answer(number, "check", {"verdict": verdict, "u_span_error_pct": 0.02})
        store.add_answer(number, "head", pulls)
    with running(tmp_path) as (_, port):
        told = json.loads(ask(port, "/dial.json?tension=26/25")[1])
        assert told["dial"] == dial
        assert [line.split(":")[0] for line in told["lines"]] == ["mains", "crosses"]
        limited = json.loads(ask(port, "/dial.json?tension=26/25&limit=26")[1])
        assert limited["dial"] == ""
        assert json.loads(ask(port, "/dial.json?tension=tight")[1]) == {"lines": [], "dial": ""}
        assert b"<html" in ask(port, json.loads(ask(port, "/cell.json")[1])["page"])[1]


def test_another_address_needs_the_token(tmp_path):
    with running(tmp_path, host="0.0.0.0") as (server, port):
        token = server.shell.guard.token
        assert ask(port, "/")[0] == 401
        assert ask(port, "/?token=wrong")[0] == 401
        status, _, headers = ask(port, f"/?token={token}")
        assert status == 200
        cookie = headers["set-cookie"]
        assert "HttpOnly" in cookie
        assert "SameSite=Strict" in cookie
        assert ask(port, "/words.json", cookie=cookie.partition(";")[0])[0] == 200


def test_the_server_ends_at_once_though_a_page_is_open(tmp_path):
    with running(tmp_path) as (server, port), events(port, ME) as state:
        state()
        began_s = time.monotonic()
        server.stop()
    assert time.monotonic() - began_s < 5.0
