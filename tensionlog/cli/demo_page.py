"""`tensionlog demo --page`: the bench page on a bench made of numbers, for you to drive."""

import json
import os
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING, Any

import click

from tensionlog.cli.demo import WORN_CLAMP, WORN_SLIP_MM, FastClock, Script
from tensionlog.cli.one_server import only_server
from tensionlog.cli.serve import Clock, page_server
from tensionlog.settings import BenchSettings

if TYPE_CHECKING:
    from tensionlog.model.guide import Ask
    from tensionlog.page.serve import Server
    from tensionlog.twin.bench import Bench
    from tensionlog.twin.live_feed import LiveFeed
    from tensionlog.twin.stage import StageFeed

CHECK: dict[str, Any] = {
    "reference": "masses",
    "masses_kg": [2.0, 5.0, 10.0],
    "mass_class": "M1",
    "gravity": 9.81,
    "daily_kg": [10.0],
    "rated_N": 500.0,
    "clamps": ["A", "B"],
    "hold_target_N": 110.0,
    "hold_span_m": 0.5,
    "hold_EA_N": 2000.0,
}
"""An invented set of masses and a control reel, so that check and hold test can be led."""

WATCH_EVERY_S = 0.05


def serve_demo(
    folder: Path, *, seed: int, head: str, unit: str, pace: float, page_port: int, opens: bool
) -> None:
    """Serve the page on the twin until somebody ends it."""
    with (
        only_server(folder, "demo") as claim,
        demo_server(
            folder, seed=seed, head=head, unit=unit, pace=pace, page_port=page_port
        ) as server,
    ):

        def say(port: int) -> None:
            address = f"http://127.0.0.1:{port}/"
            claim.at(address)
            click.echo(
                f"The bench page is at {address}\nBench, players and strings are invented, "
                f"and clamp {WORN_CLAMP} is worn. Begin a job and confirm each step; then the "
                "twin's hands string it, and press R where they pulled badly. Ctrl-C ends it."
            )
            if opens:
                click.launch(address)

        server.run(say)


@contextmanager
def demo_server(
    folder: Path, *, seed: int, head: str, unit: str, pace: float, page_port: int = 0,
    mishaps: Mapping[str, str] | None = None, hurry: float = 1.0,
) -> Iterator["Server"]:  # fmt: skip
    """The page on the twin, with hands that string whatever job is begun."""
    from tensionlog.pipeline.bench_capture import BenchCapture
    from tensionlog.recorder import Disk
    from tensionlog.sources.serial_port import open_port
    from tensionlog.twin import draw_bench, play_job
    from tensionlog.twin.stage import StageFeed

    bench = draw_bench(seed, head=head)
    bench = bench.with_clamp(replace(bench.clamps[WORN_CLAMP], slip_mm=WORN_SLIP_MM))
    idle = play_job(seed=seed, sport="badminton", bench=bench, mains=2, crosses=0)
    header = _header(idle.recording)
    feed, clock = (
        StageFeed(idle.recording, rate_hz=header["rate_hz"]),
        FastClock(pace=pace, lasts_s=0.0),
    )
    settings = _settings(header, unit)
    disk = Disk(utc_s=clock.utc_s, monotonic_s=clock.monotonic_s)
    with _link(feed, clock) as url:
        capture = BenchCapture(
            port=open_port(url), reopen=lambda: open_port(url), clock_s=clock.monotonic_s,
            utc_s=clock.utc_s,
        )  # fmt: skip
        with page_server(
            settings, capture=capture, folder=folder, db=folder / "demo.db",
            page_port=page_port, disk=disk, header=header,
            clock=Clock(monotonic_s=clock.monotonic_s, utc_s=clock.utc_s),
        ) as server:  # fmt: skip
            hands = DemoHands(
                server, feed, clock, bench, seed=seed, mishaps=mishaps, hurry=hurry
            )
            hands.start()
            try:
                yield server
            finally:
                hands.stop()


def _settings(header: Mapping[str, Any], unit: str) -> BenchSettings:
    scale = header["calibration"]
    return BenchSettings(
        bench=header["bench"],
        port="the twin",
        tensioner=header["tensioner"],
        tail_m=header["tail_m"],
        rate_hz=header["rate_hz"],
        adc_bits=header["adc_bits"],
        calibration={key: scale[key] for key in ("zero_counts", "counts_per_N")},
        unit=unit,
        operator="the twin",
        check=CHECK,
        workshop="An invented workshop",
        restring_days=90,
    )


def _header(recording: bytes) -> dict[str, Any]:
    header: dict[str, Any] = json.loads(recording.split(b"\n")[1][2:])
    return {k: v for k, v in header.items() if k not in ("started", "purpose")}


@contextmanager
def _link(feed: "StageFeed", clock: FastClock) -> Iterator[str]:
    if os.name == "posix":
        from tensionlog.twin.pty_link import served_feed

        with served_feed(feed, clock=clock.monotonic_s) as link:
            yield link.path
        return
    from tensionlog.twin.network_link import feed_on_network

    with feed_on_network(feed, clock=clock.monotonic_s) as url:
        yield url


class DemoHands:
    """Whoever strings at the twin, once everything is confirmed on the page.

    They take back what was pulled badly; the rest is left to whoever drives.
    """

    def __init__(
        self,
        server: "Server",
        feed: "StageFeed",
        clock: FastClock,
        bench: "Bench",
        *,
        seed: int,
        mishaps: Mapping[str, str] | None,
        hurry: float,
    ) -> None:
        self._desk, self._feed, self._clock, self._bench = server.shell.desk, feed, clock, bench
        self._seed, self._hurry = seed, hurry
        self._mishaps = {"R4": "redo"} if mishaps is None else mishaps
        self._goes_on = True
        self._led: LiveFeed | None = None
        self._asked: Ask | None = None
        self._guided = 0
        self._strung: set[str] = set()
        self._due: list[tuple[float, dict[str, Any]]] = []
        self._thread = Thread(target=self._work, name="hands", daemon=True)

    def start(self) -> None:
        """Begin to watch the page."""
        self._thread.start()

    def stop(self) -> None:
        """Go home."""
        self._goes_on = False
        self._thread.join(2.0)

    def _work(self) -> None:
        while self._goes_on:
            time.sleep(WATCH_EVERY_S)
            self._follow_guide()
            scene = self._desk.scene()
            recording = str(scene.get("recording", ""))
            if scene["stage"] == "strings" and not scene.get("step"):
                if recording not in self._strung:
                    self._strung.add(recording)
                    self._string(scene)
            self._press()

    def _string(self, scene: Mapping[str, Any]) -> None:
        from tensionlog.page.story import story
        from tensionlog.twin import play_job

        ticket = dict(story(self._desk.bench.now.notes).ticket)
        played = play_job(
            seed=self._seed + len(self._strung), sport=str(ticket.get("sport") or "badminton"),
            bench=self._bench, ticket=ticket, mishaps=self._mishaps,
            pace=0.6 * self._hurry,
        )  # fmt: skip
        number = len(self._strung) - 1
        self._feed.put_on(played.recording)
        while self._goes_on and self._feed.began_s(number) is None:
            time.sleep(0.01)
        began_s = self._clock.monotonic_s()
        for at_s, body in Script(played.recording).notes:
            if body["note"] in ("redo", "undo", "lift-off", "clamp", "place"):
                self._due.append((began_s + at_s, body))

    def _follow_guide(self) -> None:
        """Do what a guided test asks for, as long as one is under way."""
        from tensionlog.twin.hands import draw_hands
        from tensionlog.twin.live_feed import LiveFeed

        now = self._desk.bench.now
        is_led = now.path is not None and now.guiding is not None and now.guiding.done is None
        if not is_led or now.guiding is None:
            if self._led is not None:
                self._led = self._asked = None
                self._feed.lead(None)
            return
        if self._led is None:
            self._guided += 1
            seed = self._seed + 100 * self._guided
            self._led = LiveFeed(draw_hands(self._bench, seed=seed), seed=seed)
            self._feed.lead(self._led)
        now_s, ask = self._clock.monotonic_s(), now.guiding.ask
        if ask is not None and ask != self._asked:
            self._asked = ask
            self._led.asked(ask, now_s)
        for key in self._led.keys(now_s):
            self._desk.bench.guide_key(key)

    def _press(self) -> None:
        while self._due and self._due[0][0] <= self._clock.monotonic_s():
            _, body = self._due.pop(0)
            self._desk.do({"do": body["note"], **body})
