"""The firmware built where it is tested: the core with sanitizers, the image, its emulator.

What cannot be built here is skipped with the reason; where TENSIONLOG_FIRMWARE is `must`,
as in `.ci/run`, it fails instead.
"""

import json
import os
import shutil
import subprocess
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import pytest

FIRMWARE = Path(__file__).parents[2] / "firmware_notes" / "firmware"
VECTORS = FIRMWARE.parents[1] / "shared" / "wire_vectors.csv"


def make(target: str, build: Path, needs: Sequence[str], *more: str) -> Path:
    """Build `target` once for all workers, or skip saying what is missing."""
    missing = [tool for tool in needs if not (shutil.which(tool) or Path(tool).exists())]
    if missing:
        said = f"the firmware's {target} needs {', '.join(missing)}, which is not installed"
        pytest.fail(said) if os.environ.get("TENSIONLOG_FIRMWARE") == "must" else pytest.skip(
            said
        )
    import fcntl  # not on Windows, where there is no make either

    build.mkdir(exist_ok=True)
    with (build / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        command = ["make", "-s", "-C", str(FIRMWARE), target, f"BUILD={build}", *more]
        subprocess.run(command, check=True, capture_output=True)
    return build


@pytest.fixture(scope="session")
def build(tmp_path_factory: pytest.TempPathFactory) -> Path:
    base = tmp_path_factory.getbasetemp()
    return (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "firmware"


@pytest.fixture(scope="session")
def host(build: Path) -> Path:
    """Folder of `tool` and `fuzz`: the core on this computer, with sanitizers."""
    return make("host", build, ["make", "cc"])


@pytest.fixture(scope="session")
def run_tool(host: Path) -> Callable[[str, bytes], bytes]:
    """Run the tool in one of its modes."""

    def run(mode: str, stdin: bytes) -> bytes:
        command = [str(host / "tool"), mode]
        return subprocess.run(command, input=stdin, check=True, capture_output=True).stdout

    return run


AVR_NEEDS = ["make", "avr-gcc", "avr-objcopy", "avr-size"]


@pytest.fixture(scope="session")
def image(build: Path) -> Path:
    """The image for the controller."""
    return make("avr", build, AVR_NEEDS, "ID=emulated-1") / "device.elf"


@pytest.fixture(scope="session")
def make_image(build: Path) -> Callable[[str, str], Path]:
    """Build another image with switches of the compiler."""

    def built(name: str, extra: str) -> Path:
        folder = build.with_name(f"firmware-{name}")
        return make("avr", folder, AVR_NEEDS, f"ID={name}", f"EXTRA={extra}") / "device.elf"

    return built


class Emulated:
    """A controller that runs.

    Attributes:
        port: What to open.
    """

    def __init__(self, port: Path, process: "subprocess.Popen[str]") -> None:
        self.port = str(port)
        self._process = process

    @property
    def is_running(self) -> bool:
        return self._process.poll() is None

    def pins(self) -> dict[str, float]:
        """Wait until it stops; return what its pins saw."""
        said, _ = self._process.communicate(timeout=300)
        return json.loads(said.splitlines()[-1])


@pytest.fixture
def emulate(build: Path, tmp_path: Path) -> Callable[..., Emulated]:
    """Start a controller that runs an image; options as the emulator's own."""
    make("emulator", build, ["make", "cc", "/usr/include/simavr/sim_avr.h"])

    @contextmanager
    def emulated(image: Path, *options: str) -> Iterator[Emulated]:
        port = tmp_path / "port"
        command = [str(build / "emulator"), "--firmware", str(image), "--link", str(port)]
        with subprocess.Popen(
            [*command, *options], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        ) as process:
            try:
                until = time.monotonic() + 10.0
                while not port.is_symlink() and time.monotonic() < until:
                    time.sleep(0.005)
                yield Emulated(port, process)
            finally:
                if process.poll() is None:
                    process.terminate()

    return emulated
