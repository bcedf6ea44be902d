"""Which requests are let in: the bench's own page, from this machine or with the token.

A page of somebody else's, open in the same browser, can send requests here as well. So a
request must name one of our own hosts (or a name that was rebound to this address would
do), must not come from another origin, and a command must carry a header that a foreign
form cannot set.
"""

import ipaddress
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from typing import Final

COOKIE: Final = "tensionlog-token"
OWN_HEADER: Final = "x-tensionlog"
MOST_BODY: Final = 64 * 1024
"""A ticket has some twenty fields of 120 characters; nothing sent here is larger."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Guard:
    """The door.

    Attributes:
        hosts: Names by which this server may be called, lower case.
        token: What other machines must show, or None on the loopback.
        any_address: Whether any bare IP address is one of ours: the server listens on all.
    """

    hosts: frozenset[str]
    token: str | None = None
    any_address: bool = False

    def refusal(
        self, *, method: str, headers: Mapping[str, str], query_token: str | None
    ) -> tuple[int, str] | None:
        """Why a request is not let in, as status and key of the text; None where it is."""
        if not self._is_own_host(headers.get("host", "")):
            return 421, "guard.host"
        if not self._is_own_origin(headers):
            return 403, "guard.origin"
        if self.token is not None and not self._has_token(headers, query_token):
            return 401, "guard.token"
        if method not in ("GET", "HEAD", "POST"):
            return 405, "guard.method"
        if method == "POST" and headers.get(OWN_HEADER) != "1":
            return 403, "guard.origin"
        return None

    def _is_own_host(self, host: str) -> bool:
        name = _name_of(host)
        return name in self.hosts or (self.any_address and _is_address(name))

    def _is_own_origin(self, headers: Mapping[str, str]) -> bool:
        if headers.get("sec-fetch-site", "none") not in ("same-origin", "none"):
            # A link from elsewhere may open the page, never more than that.
            return (
                headers.get("sec-fetch-mode") == "navigate"
                and headers.get("sec-fetch-dest") == "document"
            )
        origin = headers.get("origin")
        return origin is None or origin.partition("://")[2] == headers.get("host", "")

    def _has_token(self, headers: Mapping[str, str], query_token: str | None) -> bool:
        shown = [query_token or ""]
        try:
            morsel = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
        except CookieError:
            morsel = None
        if morsel is not None:
            shown.append(morsel.value)
        wanted = (self.token or "").encode()
        return any(secrets.compare_digest(s.encode(), wanted) for s in shown)


def guard_for(host: str) -> Guard:
    """The door of a server bound to `host`; only the loopback needs no token."""
    local = frozenset({"localhost", "127.0.0.1", "::1"})
    if is_loopback(host):
        return Guard(hosts=local | {host.lower()})
    everywhere = host in ("0.0.0.0", "::", "")
    return Guard(
        hosts=local | {host.lower()}, token=secrets.token_urlsafe(9), any_address=everywhere
    )


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach `host`.

    >>> is_loopback("127.0.0.1"), is_loopback("localhost"), is_loopback("0.0.0.0")
    (True, True, False)
    """
    if host.lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _name_of(host: str) -> str:
    """The name in a Host header, its port taken off."""
    host = host.strip().lower()
    if host.startswith("["):
        return host[1:].partition("]")[0]
    return host.rpartition(":")[0] if ":" in host else host


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True
