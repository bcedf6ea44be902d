"""The second reference says, call by call, the very bytes that the core in C says.

It is run by this Python, and by MicroPython itself where that is to be had: MicroPython's
WebAssembly build under node, from the folder that TENSIONLOG_MICROPYTHON names.
"""

import importlib.util
import os
import random
import shutil
import subprocess
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[2] / "firmware_notes/firmware/micropython/tension_device.py"
PACKAGE = "@micropython/micropython-webassembly-pyscript"
PERIOD_US = 12_500

RUNNER = '''
def run(rows):
    """Run the calls that `tool run` runs; return what is said."""
    said, device = b"", None
    rates, switches = (10000, 80000, 320000), [
        ("redo", None), ("mark", None), ("shut-A", "open-A"), ("shut-B", "open-B")]
    for row in rows.split("\\n"):
        word, *rest = row.split(" ")
        numbers = [int(x) for x in rest] if word not in ("start", "heard", "fault") else []
        if word == "start":
            device = Device("bench-host", rest[0], "started: power on", rates, 80000, switches,
                            firmware="reference")
        elif word == "converted":
            device.converted(*numbers)
        elif word == "missed":
            device.missed(*numbers)
        elif word == "fault":
            device.fault(int(rest[0]), rest[1])
        elif word == "switches":
            device.switched(*numbers)
        elif word == "heard":
            device.heard(bytes(int(rest[0][i:i + 2], 16) for i in range(0, len(rest[0]), 2)))
        elif word == "passed":
            device.passed(*numbers)
        elif word == "at-rate":
            device.converts_at(*numbers)
        elif word == "wanted":
            said += b"wanted %d\\n" % device.wanted_rate()
        elif word == "drain":
            said += device.take(*numbers)
    return said
'''

COMMANDS = (
    b"?\n",
    b"R,10\n",
    b"R,80\r\n",
    b"R,92.8\n",
    b"R,1280\n",
    b"R,fast\n",
    b"AT\r",
    b"\xff?",
)


def some_calls(rng: random.Random, n: int) -> str:
    rows, now_us = ["start 00A1"], 0
    for _ in range(n):
        now_us += rng.choice((3, 700, PERIOD_US, PERIOD_US, 60_000, 300_000))
        counts = rng.choice((84211, -1, 8388607, -8388608, rng.randint(-(2**23), 2**23 - 1)))
        rows += [
            rng.choice(
                [f"converted {now_us} {counts}"] * 12
                + [f"converted {now_us} 84211"] * 12
                + [f"missed {rng.randint(0, 3)}", f"fault {now_us} brown-out", "wanted"]
                + [f"switches {now_us} {rng.randint(0, 15)}"] * 3
                + [f"heard {rng.choice(COMMANDS).hex()}"] * 3
                + [f"passed {now_us}", "drain 40", "drain 255", "drain 255", "at-rate 10000 5"]
            )
        ]
    return "\n".join([*rows, "drain 255", ""])


@pytest.fixture(scope="module")
def in_python():
    spec = importlib.util.spec_from_file_location("tension_device", SOURCE)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    scope = {"Device": module.Device}
    exec(RUNNER, scope)
    return scope["run"]


def test_random_calls_give_the_bytes_that_the_core_in_c_gives(run_tool, in_python):
    rng = random.Random(21)
    for _ in range(25):
        rows = some_calls(rng, 400)
        said = in_python(rows)
        assert said == run_tool("run", rows.encode())
        assert len(said) > 3000


def test_a_second_of_one_code_and_two_at_the_end_are_told_alike(run_tool, in_python):
    for counts in (-1, 8388607):
        rows = "start 1\n" + "".join(
            f"converted {i * PERIOD_US} {counts}\ndrain 255\n" for i in range(200)
        )
        assert in_python(rows) == run_tool("run", rows.encode())


def test_micropython_itself_gives_the_same_bytes(run_tool, tmp_path):
    folder = os.environ.get("TENSIONLOG_MICROPYTHON")
    if folder is None or shutil.which("node") is None:
        pytest.skip(f"needs node, and in TENSIONLOG_MICROPYTHON a folder with {PACKAGE}")
    rng = random.Random(22)
    rows = some_calls(rng, 2000)
    code = f"{SOURCE.read_text()}\n{RUNNER}\nprint(run({rows!r}).hex())\n"
    script = tmp_path / "run.mjs"
    module = next(
        Path(folder).resolve().rglob("micropython-webassembly-pyscript/micropython.mjs")
    )
    script.write_text(
        f"import {{ loadMicroPython }} from {str(module)!r};\n"
        "import { readFileSync } from 'fs';\n"
        "const mp = await loadMicroPython({ heapsize: 8 * 1024 * 1024 });\n"
        "mp.runPython(readFileSync(0, 'utf8'));\n"
    )
    done = subprocess.run(
        ["node", str(script)], input=code, capture_output=True, text=True, check=True
    )
    assert bytes.fromhex(done.stdout.strip()) == run_tool("run", rows.encode())
