"""Whatever is asked of the bench page, it answers or refuses, and goes on serving."""

import http.client
import json
import threading
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionlog.cli.serve import page_server
from tensionlog.errors import LinkError
from tensionlog.pipeline.bench_capture import BenchCapture
from tensionlog.settings import BenchSettings

PATHS = [
    "/", "/static/page.js", "/words.json", "/do", "/home.json", "/history.json", "/fields.json",
    "/job/1-1/report", "/job/1-1/slip", "/clamps.json", "/cell.json", "/job/%00/slip",
    "/nothing",
]  # fmt: skip
LONGEST_ANSWER = 6_000_000


def no_device():
    raise LinkError("there is no /dev/ttyNONE. Plug it in.")


@pytest.fixture(scope="module")
def port(tmp_path_factory):
    """A bench page without a device, and the port at which it answers."""
    folder = tmp_path_factory.mktemp("page")
    capture = BenchCapture(port=None, reopen=no_device, clock_s=time.monotonic, utc_s=time.time)
    settings_ = BenchSettings(bench="quiet", unit="lbf")
    with page_server(
        settings_, capture=capture, folder=folder, db=folder / "a.db", host="127.0.0.1"
    ) as server:
        at: list[int] = []
        thread = threading.Thread(target=server.run, args=(at.append,))
        thread.start()
        while not at:
            time.sleep(0.01)
        yield at[0]
        server.stop()
        thread.join(10.0)


def asked(port: int, method: str, path: str, body: bytes | None) -> int:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    headers = {"content-type": "application/json", "x-tensionlog": "1"} if body else {}
    connection.request(method, path, body=body, headers=headers)
    answer = connection.getresponse()
    found = answer.read(LONGEST_ANSWER + 1)
    connection.close()
    assert len(found) <= LONGEST_ANSWER
    assert b"Traceback" not in found
    return answer.status


words = st.text(st.characters(min_codepoint=33, max_codepoint=126), max_size=12)
values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=9),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner),
    max_leaves=6,
)
names = st.sampled_from(["client", "do", "what", "ticket", "note", "name", "mains", "owner"])
commands = st.dictionaries(names, values, max_size=5).map(lambda b: json.dumps(b).encode())


@settings(max_examples=25)
@given(
    method=st.sampled_from(["GET", "POST", "PUT", "HEAD", "DELETE", "OPTIONS"]),
    path=st.sampled_from(PATHS) | words.map(lambda w: "/" + w.lstrip("/")),
    query=words,
    body=st.none() | st.binary(max_size=60) | commands,
)
def test_no_request_is_an_error_of_the_servers_own(port, method, path, query, body):
    status = asked(port, method, f"{path}?{query}" if query else path, body)

    assert status < 500


@settings(max_examples=25)
@given(body=commands | st.binary(min_size=1, max_size=200))
def test_no_command_is_an_error_of_the_servers_own(port, body):
    assert asked(port, "POST", "/do", body) < 500
    assert asked(port, "GET", "/", None) == 200
