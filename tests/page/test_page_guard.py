"""Who is let in."""

import pytest

from tensionlog.page.guard import COOKIE, guard_for, is_loopback

OWN = {"host": "127.0.0.1:8737"}


def ask(guard, method="GET", query=None, **headers):
    named = {k.replace("_", "-"): v for k, v in headers.items()}
    return guard.refusal(method=method, headers={**OWN, **named}, query_token=query)


@pytest.fixture
def local():
    return guard_for("127.0.0.1")


def test_the_bench_s_own_page_is_let_in(local):
    assert ask(local) is None
    assert ask(local, host="localhost:8737", sec_fetch_site="same-origin") is None
    assert ask(local, host="[::1]:8737") is None


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8737", "", "127.0.0.1.evil.example"]
)
def test_a_name_that_was_rebound_to_us_is_not(local, host):
    assert ask(local, host=host) == (421, "guard.host")


def test_a_command_from_another_page_is_refused(local):
    own = {"x_tensionlog": "1"}
    assert ask(local, "POST", **own) is None
    assert ask(local, "POST", origin="http://evil.example", **own) == (403, "guard.origin")
    assert ask(local, "POST", sec_fetch_site="cross-site", **own) == (403, "guard.origin")
    assert ask(local, "POST", sec_fetch_site="same-site", **own) == (403, "guard.origin")
    assert ask(local, "POST", origin="null", **own) == (403, "guard.origin")


def test_a_command_without_our_header_is_a_foreign_form(local):
    assert ask(local, "POST") == (403, "guard.origin")


def test_a_link_from_elsewhere_may_open_the_page_and_nothing_else(local):
    link = {"sec_fetch_site": "cross-site"}
    assert ask(local, sec_fetch_mode="navigate", sec_fetch_dest="document", **link) is None
    assert ask(local, sec_fetch_mode="no-cors", sec_fetch_dest="script", **link) is not None
    assert ask(local, sec_fetch_mode="navigate", sec_fetch_dest="iframe", **link) is not None


def test_other_methods_are_not_done(local):
    assert ask(local, "DELETE") == (405, "guard.method")


def test_beyond_this_machine_the_token_is_needed():
    guard = guard_for("0.0.0.0")
    assert guard.token is not None
    assert len(guard.token) >= 12
    far = {"host": "192.168.7.20:8737"}
    assert ask(guard, **far) == (401, "guard.token")
    assert ask(guard, query="wrong", **far) == (401, "guard.token")
    assert ask(guard, query=guard.token, **far) is None
    assert ask(guard, cookie=f"a=b; {COOKIE}={guard.token}", **far) is None
    assert ask(guard, cookie=";;;=", **far) == (401, "guard.token")
    assert ask(guard, host="evil.example", query=guard.token) == (421, "guard.host")


def test_two_starts_have_two_tokens():
    assert guard_for("10.0.0.5").token != guard_for("10.0.0.5").token


@pytest.mark.parametrize(
    ("host", "is_local"),
    [
        ("127.0.0.1", True),
        ("localhost", True),
        ("::1", True),
        ("10.0.0.5", False),
        ("bench", False),
    ],
)
def test_the_loopback_is_told_from_the_rest(host, is_local):
    assert is_loopback(host) is is_local
    assert (guard_for(host).token is None) is is_local
