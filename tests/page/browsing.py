"""A day at the bench, driven through a real browser on the twin."""

import shutil
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tensionlog.cli.demo_page import demo_server

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
try:
    from playwright.sync_api import Page, sync_playwright
except ImportError:
    sync_playwright = None  # type: ignore[assignment]

WHY_NOT = (
    "no Chromium is installed here"
    if CHROMIUM is None
    else "playwright is not installed: pip install playwright"
    if sync_playwright is None
    else None
)


@contextmanager
def at_the_bench(folder: Path, **demo: Any) -> Iterator[tuple[Any, str]]:
    """The page served on the twin; yields the server and the page's address."""
    settings = {"seed": 7, "head": "lockout", "unit": "lbf", "pace": 8.0, **demo}
    with demo_server(folder, **settings) as server:
        at: list[int] = []
        thread = threading.Thread(target=server.run, args=(at.append,), daemon=True)
        thread.start()
        while not at:
            time.sleep(0.02)
        try:
            yield server, f"http://127.0.0.1:{at[0]}/"
        finally:
            server.stop()
            thread.join(10.0)


@contextmanager
def browser() -> Iterator[Any]:
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(
            executable_path=CHROMIUM,
            args=["--no-sandbox", "--autoplay-policy=no-user-gesture-required"],
        )
        try:
            yield chromium
        finally:
            chromium.close()


class Day:
    """What somebody does at the page, key by key.

    Args:
        page: An open page of the browser.
        address: The server's.
    """

    def __init__(self, page: "Page", address: str) -> None:
        self.page, self.address = page, address
        self.wrong: list[str] = []
        page.set_default_timeout(60_000)
        page.on("pageerror", lambda error: self.wrong.append(str(error)))
        page.on("requestfailed", lambda one: None)
        self.asked: list[str] = []
        page.on("request", lambda one: self.asked.append(one.url))
        page.goto(address)
        page.wait_for_selector(".home")

    def press(self, key: str) -> None:
        self.page.keyboard.press(key)

    def shows(self, selector: str, timeout_s: float = 60.0) -> None:
        self.page.wait_for_selector(selector, timeout=1000 * timeout_s)

    def text(self, selector: str) -> str:
        return self.page.inner_text(selector) if self.page.query_selector(selector) else ""

    def verdict(self) -> str:
        """Number of the pull and what is said of it; empty before the first."""
        found: str = self.page.evaluate(
            "() => { const v = document.querySelector('#verdict');"
            " return v && v.dataset.pull ? `${v.dataset.pull} ${v.innerText}` : '' }"
        )
        return found

    def check(self) -> str:
        """The daily check, led by the guide; gives the word of its verdict."""
        self.press("k")
        self.shows("text=Zero, masses")
        self.press("1")
        self.shows(".guide")
        self.shows(".check .word", timeout_s=300.0)
        word = self.text(".check .word")
        self.press("Enter")
        self.shows(".home")
        return word

    def ticket(self, **fields: str) -> None:
        """Write a ticket and begin."""
        self.press("j")
        self.shows("form.ticket")
        for name, value in fields.items():
            self.page.fill(f"#f-{name}", value)
        self.press("Enter")

    def inspect(self) -> list[str]:
        """Confirm every step that is asked; gives what was asked."""
        asked: list[str] = []
        while self.page.query_selector(".ask h1"):
            title = self.text(".ask h1")
            if not asked or asked[-1] != title:
                asked.append(title)
                self.press("Enter")
            self.page.wait_for_timeout(60)
        return asked

    def string(self, *, lasts_s: float, at: Any = lambda _day, _word: None) -> list[str]:
        """Follow the hands until all is pulled; gives every verdict that was shown."""
        words, until = [], time.monotonic() + lasts_s
        while time.monotonic() < until:
            shown = self.verdict()
            if shown and (not words or words[-1] != shown):
                words.append(shown)
                at(self, shown)
            title = self.text(".ask h1")
            if title.startswith("Mains done"):
                self.press("Enter")
                self.page.wait_for_timeout(200)
            elif title:
                self.page.wait_for_timeout(2500)  # the last one is read as it is let off
                return [*words, self.verdict()]
            self.page.wait_for_timeout(50)
        raise AssertionError(f"the job did not end; last: {words[-3:]}")
