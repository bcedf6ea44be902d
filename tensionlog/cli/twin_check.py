"""A guided test on the twin, unattended: the bench's time passes only as it is read.

So ten minutes at the bench take the seconds that the computer needs, every second of them
counted, and the very code runs that leads a person.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tensionlog.cli.guide_session import GuideSession
from tensionlog.cli.session import Session
from tensionlog.errors import TensionlogError

if TYPE_CHECKING:
    from tensionlog.model.guide import Said
    from tensionlog.pipeline.guide import Guide
    from tensionlog.pipeline.sitting import Whole
    from tensionlog.twin import Bench

READ_EVERY_S = 0.1
LONGEST_S = 3600.0


class SteppedPort:
    """A port whose clock goes on by a tenth of a second each time that it is read."""

    def __init__(self, due: Callable[[float], bytes], *, started_s: float) -> None:
        self.now_s = 0.0
        self._due, self._started_s = due, started_s

    def read(self) -> bytes:
        """What came in the next tenth of a second."""
        self.now_s += READ_EVERY_S
        return self._due(self.now_s)

    def identify(self) -> bool:
        """Nobody need ask: the twin says who it is."""
        return True

    def close(self) -> None:
        """There is nothing to let go."""

    def utc_s(self) -> float:
        """Host time on the same clock."""
        return self._started_s + self.now_s


@dataclass(frozen=True, slots=True, kw_only=True)
class TwinCheck:
    """What a guided test on the twin gave.

    Attributes:
        whole: What was read.
        paths: The recording.
        said: Everything that the guide said, in order.
        bench_s: Bench time from the first ask to the end.
    """

    whole: "Whole"
    paths: list[Path]
    said: "list[Said]"
    bench_s: float


def check_on_twin(
    guide: "Guide",
    bench: "Bench",
    *,
    seed: int,
    folder: Path,
    started_s: float,
    hands: dict[str, Any] | None = None,
    calibrated: bool = True,
    aloud: bool = False,
) -> TwinCheck:
    """Let the twin's operator do what a guide asks.

    Args:
        guide: Not begun yet.
        bench: The twin's bench.
        seed: Of hands, string and noise.
        folder: Where the recording goes.
        started_s: Host time at which it begins (UTC, s).
        hands: More about the operator, see `tensionlog.twin.hands.Hands`.
        calibrated: Whether the recording carries a calibration.
        aloud: Whether what the guide says is said on stderr.
    """
    from tensionlog.model.guide import Ask, Done
    from tensionlog.pipeline.capture import Capture
    from tensionlog.pipeline.guided import Guided
    from tensionlog.pipeline.live import Live
    from tensionlog.recorder import Disk, Recorder
    from tensionlog.twin.hands import draw_hands
    from tensionlog.twin.live_feed import LiveFeed

    feed = LiveFeed(draw_hands(bench, seed=seed, **(hands or {})), seed=seed)
    feed.opened(0.0)
    port = SteppedPort(feed.due, started_s=started_s)
    disk = Disk(utc_s=port.utc_s, monotonic_s=lambda: port.now_s)
    header = bench.header(purpose="check", started="")
    header.pop("started")
    if not calibrated:
        header.pop("calibration", None)
    capture = Capture(
        port=port,
        reopen=lambda: port,
        make_recorder=lambda: Recorder(folder, header, disk=disk),
        clock_s=lambda: port.now_s,
        utc_s=port.utc_s,
    )
    guided = Guided(guide, capture=capture)
    said: list[Said] = []

    def hear(one: "Said") -> None:
        said.append(one)
        if isinstance(one, Ask):
            feed.asked(one, port.now_s)

    session = GuideSession(
        Session(port="the twin", baud=115_200, unit="N"),
        unit="N",
        bell=False,
        hears=hear,
        aloud=aloud,
    )
    with Live(capture, on_sitting=guided.listen, in_step=True) as live:
        session.follow(
            guided,
            live,
            keys=lambda: feed.keys(port.now_s),
            goes_on=lambda: port.now_s < LONGEST_S,
        )
        _, whole = live.finish()
    done = next((one for one in said if isinstance(one, Done)), None)
    if whole is None or capture.recorder is None or done is None:
        raise TensionlogError("the twin never came to an end. That is a bug: please report it.")
    return TwinCheck(whole=whole, paths=capture.recorder.paths, said=said, bench_s=done.took_s)
