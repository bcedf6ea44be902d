"""Follow a guided test at the terminal: words, a reading that is written over, bells."""

import sys
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

import click

from tensionlog.cli.say import one_line
from tensionlog.cli.session import Session

if TYPE_CHECKING:
    from tensionlog.model.guide import Said
    from tensionlog.pipeline.guided import Guided
    from tensionlog.pipeline.live import Live, Told

POLL_S = 0.05
BELL_EVERY_S = 0.13
LOADS = ("zero", "hang", "empty", "scale")
Keys = Callable[[], list[str]]


class GuideSession:
    """Say what a guide says.

    Args:
        link: Says what the line tells; a lost cable matters in a test as in a job.
        unit: Unit of the reader's choice.
        bell: Whether the terminal's bell is rung.
        hears: Told of everything that is said, as it is said; the twin's operator.
        aloud: Whether anything is said at all.
    """

    def __init__(
        self,
        link: Session,
        *,
        unit: str,
        bell: bool = True,
        hears: "Callable[[Said], object] | None" = None,
        aloud: bool = True,
    ) -> None:
        self._link, self._unit, self._bell = link, unit, bell
        self._hears, self._aloud = hears, aloud
        self._shown = ""

    def follow(
        self,
        guided: "Guided",
        live: "Live",
        *,
        keys: Keys,
        goes_on: Callable[[], bool],
        poll_s: float = POLL_S,
    ) -> None:
        """Pass keys on and say what comes until the guide is over, or nothing goes on.

        Raises:
            LinkError: Only garbage comes, or nothing at all.
        """
        while live.is_running and goes_on() and not guided.guide.is_over:
            for key in keys():
                guided.key(key)
            told, said = guided.poll(live, poll_s)
            for one in told:
                self._line(guided, one)
            for news in said:
                self.say(news)

    def say(self, said: "Said") -> None:
        """Say one thing, with its sound."""
        from tensionlog.model.guide import Ask, Reading
        from tensionlog.report import guide_words as words

        if self._hears is not None:
            self._hears(said)
        if not self._aloud:
            return
        text = words.sentence(said, unit="N" if _is_load(said) else self._unit)
        if isinstance(said, Reading):
            self._show(text)
            return
        self._clear()
        if isinstance(said, Ask):
            text = f"{said.number}/{said.of}  {words.glance(said)}  {text}"
        if not text:
            return
        click.echo(one_line(text), err=True)
        kind = words.kind_of(said)
        if kind is not None and self._bell and _is_terminal():
            ring(words.BELLS[kind])

    def _line(self, guided: "Guided", told: "Told") -> None:
        from tensionlog.pipeline.capture import Gone, Quiet
        from tensionlog.pipeline.live import NoteTaken, PullFound

        if isinstance(told, NoteTaken | PullFound) or not self._aloud:
            return  # the guide speaks of them itself
        if isinstance(told, Quiet | Gone):
            guided.refuse("quiet")
        self._clear()
        self._link.say(told)

    def _show(self, text: str) -> None:
        if _is_terminal():
            self._shown = one_line(text)
            click.echo(f"\r{self._shown}\x1b[K", err=True, nl=False)

    def _clear(self) -> None:
        if self._shown:
            click.echo("\r\x1b[K", err=True, nl=False)
            self._shown = ""


def _is_load(said: "Said") -> bool:
    """Whether a reference was read: its force is told in newtons, whatever is dialled in."""
    return getattr(said, "words", None) in LOADS and not hasattr(said, "ends")


def ring(times: int, *, sleep: Callable[[float], object] = time.sleep) -> None:
    """Ring the terminal's bell so often; rung at once, they would be one."""
    for _ in range(times):
        click.echo("\a", err=True, nl=False)
        sleep(BELL_EVERY_S)


def _is_terminal() -> bool:
    return sys.stderr.isatty()
