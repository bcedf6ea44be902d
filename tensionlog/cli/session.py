"""Follow a live sitting at the terminal; the same for a real port and for the demo."""

import sys
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import click

from tensionlog.cli.say import json_line, one_line
from tensionlog.errors import LinkError

if TYPE_CHECKING:
    from tensionlog.model.sitting import Found
    from tensionlog.pipeline.live import Live, Told

POLL_S = 0.1
SAFE_WITHIN_S = 2.0
"""What is not on the disk by then is said loudly; it should be there in a quarter second."""

Notes = Callable[[], list[dict[str, Any]]]


class Session:
    """Say what a live sitting tells.

    Args:
        port: What is read, for the errors.
        baud: Its speed, for the errors.
        unit: Unit of the reader's choice.
        as_json: Whether pulls are printed as JSON.
        patient: Whether a silent device is waited for.
    """

    def __init__(
        self, *, port: str, baud: int, unit: str, as_json: bool = False, patient: bool = False
    ) -> None:
        self._port, self._baud, self._unit = port, baud, unit
        self._as_json, self._patient = as_json, patient
        self._path = ""
        self._status = ""

    def follow(self, live: "Live", *, notes: Notes, goes_on: Callable[[], bool]) -> None:
        """Pass notes on and say what comes, as long as the reader runs and `goes_on`.

        Raises:
            LinkError: Only garbage comes, or nothing at all and nobody wants to wait.
        """
        while live.is_running and goes_on():
            for note in notes():
                live.capture.note(note)
            for told in live.poll(POLL_S):
                self.say(told)
            self._show(live)

    def say(self, told: "Told") -> None:
        """Say one thing: a pull on stdout, anything else on stderr.

        Raises:
            LinkError: As in `follow`.
        """
        from tensionlog.pipeline import capture, live, trouble

        self._clear()
        match told:
            case live.PullFound(found, again):
                self._pull(found, again)
            case capture.Started(path):
                self._path = str(path)
                self._tell(f"Recording into {path}")
            case live.NoteTaken(note):
                self._tell(f"  {_note_text(note.body)}")
            case capture.Quiet(for_s):
                self._quiet(for_s)
            case live.Garbage(bytes_read):
                raise LinkError(self._garbage(bytes_read))
            case capture.Gone(why):
                self._gone(why)
            case capture.Stranger(device, wanted):
                self._tell(
                    f"ANOTHER DEVICE: {device} answers, not {wanted}. It is not recorded."
                )
            case capture.Heard(after_s):
                self._tell(f"It is there again, after {after_s:.1f} s.")
            case capture.StreamEnded(why):
                self._tell(why)
            case trouble.Unsafe(for_s, why, lost_bytes):
                self._unsafe(for_s, why, lost_bytes)
            case trouble.Safe(into):
                self._tell(f"SAFE: all is on the disk again, in {into}")
            case trouble.OffRate(rate_hz, stated_hz):
                self._off_rate(rate_hz, stated_hz, told.is_wiring)

    def _pull(self, found: "Found", again: bool) -> None:
        from tensionlog.cli.pull_line import pull_line
        from tensionlog.pipeline.answers import pull_answer

        if self._as_json:
            json_line({"number": found.number, "again": again, **pull_answer(found.pull)})
        else:
            click.echo(f"{pull_line(found, unit=self._unit)}{' (changed)' if again else ''}")
        sys.stdout.flush()

    def _gone(self, why: str) -> None:
        if not self._path and not self._patient:
            raise LinkError(why)
        self._tell(f"GONE: {why} It is opened again as soon as it is there.")

    def _unsafe(self, for_s: float, why: str, lost_bytes: int) -> None:
        lost = f" {lost_bytes} bytes are lost." if lost_bytes else ""
        self._tell(
            f"NOT SAFE: {for_s:.0f} s of this sitting are only in memory: {why}.{lost} "
            "Make room or mend the disk; about 40 minutes can be kept."
        )

    def _off_rate(self, rate_hz: float, stated_hz: float, is_wiring: bool) -> None:
        do = (
            "No converter is so fast: check its wires; do not trust a reading."
            if is_wiring
            else "Times are right all the same; 'tensionlog bench set --rate-hz' corrects it."
        )
        said = f"the device gives {rate_hz:.1f} samples/s, the set-up says {stated_hz:g}."
        self._tell(f"RATE: {said} {do}")

    def _quiet(self, for_s: float) -> None:
        if self._path:
            self._tell(f"QUIET: nothing has come for {for_s:.0f} s. Check the cable.")
            return
        silent = f"{self._port} is open at {self._baud} baud and silent for {for_s:.0f} s."
        if not self._patient:
            raise LinkError(
                f"{silent} Check the device's power and its sketch, or wait with --wait."
            )
        self._tell(f"{silent} Waiting.")

    def _garbage(self, bytes_read: int) -> str:
        return (
            f"{bytes_read} bytes came from {self._port} at {self._baud} baud and none of "
            "them make a sound line. Set the device's own speed with --baud, or its lines "
            f"with 'tensionlog bench set --pattern'. What came is kept in {self._path}."
        )

    def _show(self, live: "Live") -> None:
        """One line on stderr that is written over: how safe the sitting is."""
        recorder = live.capture.recorder
        if recorder is None or not sys.stderr.isatty():
            return
        state = recorder.state()
        safe = "safe on the disk"
        if not state.is_writing or state.unsafe_s > SAFE_WITHIN_S:
            safe = f"NOT SAFE for {state.unsafe_s:.0f} s: {state.trouble or 'slow disk'}"
        self._status = one_line(f"{live.samples} samples, {safe}")
        click.echo(f"\r{self._status}\x1b[K", err=True, nl=False)

    def _clear(self) -> None:
        if self._status:
            click.echo("\r\x1b[K", err=True, nl=False)
            self._status = ""

    def _tell(self, text: str) -> None:
        click.echo(one_line(text), err=True)


def _note_text(body: Mapping[str, Any]) -> str:
    more = [f"{k} {v}" for k, v in body.items() if k not in ("at", "note", "job")]
    return one_line(" ".join([str(body.get("note")), *more]))
