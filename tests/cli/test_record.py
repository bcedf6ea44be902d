"""`record`: a sitting from a port; every way in which a port can be wrong."""

import os
import signal
import socket
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path
from threading import Thread

import pytest

from tensionlog.cli import record as record_module
from tensionlog.model.recording import Note
from tensionlog.pipeline import capture, live
from tensionlog.pipeline.replay import replay
from tensionlog.sources.recording import open_recording
from tensionlog.twin.pty_link import served

posix = pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are POSIX")


def device_bytes(recording: bytes) -> bytes:
    lines = recording.splitlines(keepends=True)
    return b"".join(x for x in lines if not x.startswith((b"# ", b"! ", b"@ ")))


@contextmanager
def streaming(data: bytes):
    """A device behind a network socket that is asked, says `data` and hangs up."""
    with socket.create_server(("127.0.0.1", 0)) as server:

        def say() -> None:
            with server.accept()[0] as connection:
                connection.recv(64)  # pyserial throws away what came while it opened
                connection.sendall(data)

        thread = Thread(target=say, daemon=True)
        thread.start()
        yield f"socket://127.0.0.1:{server.getsockname()[1]}"
        thread.join(5.0)


@pytest.fixture
def impatient(monkeypatch):
    """Nobody waits for whole seconds here."""
    monkeypatch.setattr(capture, "FIRST_QUIET_S", 0.15)
    monkeypatch.setattr(live, "SOUND_WITHIN_S", 0.15)


@pytest.fixture
def keys(monkeypatch):
    """Keys that are pressed one at each look, the first once samples come."""

    def press(*notes):
        waiting = list(notes)

        @contextmanager
        def keyboard():
            yield lambda: [waiting.pop(0)] if waiting else []

        monkeypatch.setattr(record_module, "keyboard", keyboard)

    return press


@pytest.fixture
def at_bench(run, short_job):
    """A bench set up as the twin's is."""
    header = open_header(short_job.recording)
    calibration = header["calibration"]
    run(
        "bench", "set", "--name", "north", "--head", header["tensioner"],
        "--tail-m", header["tail_m"], "--rate-hz", header["rate_hz"],
        "--adc-bits", header["adc_bits"], "--zero-counts", calibration["zero_counts"],
        "--counts-per-n", calibration["counts_per_N"], "--unit", "N",
    )  # fmt: skip


def open_header(recording: bytes) -> dict:
    import json

    return json.loads(recording.split(b"\n")[1][2:])


def recordings(folder):
    return sorted(folder.glob("*.rec"))


def test_a_stream_is_recorded_byte_by_byte_read_and_stored(run, at_bench, short_job, tmp_path):
    data = device_bytes(short_job.recording)
    with streaming(data) as url:
        ran = run(
            "record", "--port", url, "--folder", tmp_path / "r", "--db", tmp_path / "a.db",
            "--mains", 2, "--crosses", 1, "--tension", "31/32 lb", "--json",
        )  # fmt: skip

    (path,) = recordings(tmp_path / "r")
    assert ran.code == 0
    assert b"".join(i for i in open_recording(path) if isinstance(i, bytes)) == data
    assert {row["number"] for row in ran.rows} == {1, 2, 3, 4}
    assert "was closed by the other side" in ran.err
    assert run("verify", path, "--db", tmp_path / "a.db").code == 0


def test_the_ticket_is_the_first_note_of_the_recording(run, at_bench, short_job, tmp_path):
    with streaming(device_bytes(short_job.recording)) as url:
        run(
            "record", "--port", url, "--folder", tmp_path, "--no-db", "--ref", "T-9",
            "--mains", 2, "--crosses", 1, "--tension", "137.9/142.3 N",
        )  # fmt: skip

    whole = replay(recordings(tmp_path)[0])
    assert whole.header.purpose == "job"
    assert whole.notes[0].name == "job-start"
    assert whole.jobs[0].ref == "T-9"
    assert (whole.jobs[0].target_mains_n, whole.jobs[0].target_crosses_n) == (137.9, 142.3)


def test_a_ticket_may_be_a_file_and_flags_come_first(run, at_bench, short_job, tmp_path):
    (tmp_path / "t.toml").write_text('ref = "T-1"\nmains = 2\ncrosses = 1\n')
    with streaming(device_bytes(short_job.recording)) as url:
        run(
            "record", "--port", url, "--folder", tmp_path, "--no-db",
            "--ticket", tmp_path / "t.toml", "--ref", "T-2",
        )  # fmt: skip

    job = replay(recordings(tmp_path)[0]).jobs[0]
    assert (job.ref, job.mains) == ("T-2", 2)


def test_without_a_ticket_the_sitting_is_free(run, at_bench, short_job, tmp_path):
    with streaming(device_bytes(short_job.recording)) as url:
        run("record", "--port", url, "--folder", tmp_path, "--no-db")

    assert replay(recordings(tmp_path)[0]).header.purpose == "free"


def test_without_a_calibration_that_is_a_warning(run, short_job, tmp_path):
    with streaming(device_bytes(short_job.recording)) as url:
        ran = run("record", "--port", url, "--folder", tmp_path, "--no-db")

    assert ran.code == 0
    assert "Warning: this bench has no calibration" in ran.err
    assert "counts" in ran.out


@posix
def test_keys_are_notes_and_the_last_one_ends_the_job(run, at_bench, keys, short_job, tmp_path):
    keys(*[{"note": n} for n in ("redo", "undo", "job-end")])
    with served(
        lambda _hz: short_job.recording, clock=time.monotonic, speed=20.0, rate_hz=80.0
    ) as link:
        ran = run(
            "record", "--port", link.path, "--folder", tmp_path, "--no-db",
            "--mains", 2, "--crosses", 1,
        )  # fmt: skip

    (path,) = recordings(tmp_path)
    notes = [i.name for i in open_recording(path) if isinstance(i, Note)]
    assert ran.code == 0
    assert notes == ["job-start", "redo", "undo", "job-end"]
    assert "Closed and safe" in ran.err


def test_a_database_in_trouble_does_not_keep_us_from_recording(
    run, at_bench, short_job, tmp_path
):
    (tmp_path / "a.db").write_text("my shopping list")
    with streaming(device_bytes(short_job.recording)) as url:
        ran = run(
            "record", "--port", url, "--folder", tmp_path / "r", "--db", tmp_path / "a.db"
        )

    assert ran.code == 1
    assert "The recording goes on" in ran.err
    assert ran.err.splitlines()[-1].startswith("Error: ")
    assert replay(recordings(tmp_path / "r")[0]).ledger.samples == 3663


# -- every way in which a port can be wrong ------------------------------------------------


def test_no_port_named_is_wrong_usage(run):
    ran = run("record")

    assert ran.code == 2
    assert "which port?" in ran.err


def test_a_port_that_is_not_there(run, tmp_path):
    ran = run("record", "--port", tmp_path / "ttyNONE", "--no-db")

    assert ran.code == 1
    assert "there is no port" in ran.error


def test_a_url_that_nobody_knows(run):
    ran = run("record", "--port", "pigeon://x", "--no-db")

    assert ran.code == 1
    assert "cannot open pigeon://x" in ran.error


def test_a_file_that_is_no_port(run, tmp_path):
    (tmp_path / "file").write_text("")

    ran = run("record", "--port", tmp_path / "file", "--no-db")

    assert ran.code == 1
    assert "is not a serial port" in ran.error


@posix
def test_a_port_that_somebody_else_has(run, monkeypatch):
    from tensionlog.sources import busy_port
    from tensionlog.sources.serial_port import open_port

    monkeypatch.setattr(busy_port, "BUSY_WITHIN_S", 0.1)
    device, host = os.openpty()
    path = os.ttyname(host)
    with open_port(path):
        ran = run("record", "--port", path, "--no-db")
    os.close(host)
    os.close(device)

    assert ran.code == 1
    busy, error = ran.err.splitlines()
    assert busy.startswith(f"BUSY: another program has {path}. It is tried again")
    assert "is in use by another program" in error


@posix
@pytest.mark.skipif(os.name == "posix" and os.geteuid() == 0, reason="root may open anything")
def test_a_port_without_permission(run):
    device, host = os.openpty()
    path = os.ttyname(host)
    Path(path).chmod(0)
    ran = run("record", "--port", path, "--no-db")
    os.close(host)
    os.close(device)

    assert ran.code == 1
    assert "no permission" in ran.error


def test_a_plug_that_only_gives_back_what_it_is_sent_is_no_device(
    run, at_bench, impatient, tmp_path
):
    ran = run("record", "--port", "loop://", "--folder", tmp_path, "--no-db")

    assert ran.code == 1
    assert "none of them make a sound line" in ran.err.splitlines()[-1]


def test_a_stream_that_is_closed_before_anything_came(run, at_bench, tmp_path):
    with streaming(b"") as url:
        ran = run("record", "--port", url, "--folder", tmp_path / "r", "--no-db")

    assert ran.code == 1
    assert "nothing was recorded" in ran.err.splitlines()[-1]
    assert recordings(tmp_path / "r") == []


@posix
def test_a_device_that_says_nothing(run, at_bench, impatient, tmp_path):
    device, host = os.openpty()
    ran = run("record", "--port", os.ttyname(host), "--folder", tmp_path / "r", "--no-db")
    os.close(host)
    os.close(device)

    assert ran.code == 1
    assert "silent for" in ran.err.splitlines()[-1]
    assert "--wait" in ran.err
    assert recordings(tmp_path / "r") == []


@posix
def test_only_garbage_is_told_and_kept(run, at_bench, impatient, tmp_path):
    device, host = os.openpty()
    os.set_blocking(device, False)
    going = [True]

    def garble() -> None:
        while going:
            try:
                os.write(device, b"\xf0\x80\x0f\x5a" * 8)
            except BlockingIOError:
                pass
            time.sleep(0.01)

    thread = Thread(target=garble, daemon=True)
    thread.start()
    ran = run("record", "--port", os.ttyname(host), "--folder", tmp_path, "--no-db",
              "--baud", 9600)  # fmt: skip
    going.clear()
    thread.join()
    os.close(host)
    os.close(device)

    (path,) = recordings(tmp_path)
    last = ran.err.splitlines()[-1]
    assert ran.code == 1
    assert "at 9600 baud and none of them make a sound line" in last
    assert str(path) in last
    assert path.stat().st_size > 200


def test_a_target_of_zero_is_told_before_any_port_is_opened(run):
    ran = run("record", "--port", "/dev/null", "--mains", 2, "--crosses", 0, "--tension", "0")

    assert ran.code == 1
    assert "target_mains_N = 0.0" in ran.error


def test_a_folder_that_takes_no_file(run, at_bench, short_job, tmp_path):
    (tmp_path / "file").write_text("")
    with streaming(device_bytes(short_job.recording)) as url:
        ran = run("record", "--port", url, "--folder", tmp_path / "file", "--no-db")

    assert ran.code == 1
    assert "cannot record into" in ran.err.splitlines()[-1]


# -- signals -------------------------------------------------------------------------------


@posix
@pytest.mark.parametrize(
    ("number", "code"), [(signal.SIGINT, 0), (signal.SIGTERM, 128 + signal.SIGTERM)]
)
def test_a_signal_closes_the_recording_within_a_second(short_job, tmp_path, number, code):
    with served(
        lambda _hz: short_job.recording, clock=time.monotonic, speed=20.0, rate_hz=80.0
    ) as link:
        ran = subprocess.Popen(
            [sys.executable, "-m", "tensionlog", "record", "--port", link.path,
             "--folder", str(tmp_path), "--no-db"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        deadline = time.monotonic() + 30.0
        ran.stdin.write("n odd sound\n")
        ran.stdin.flush()
        while not any(b"odd sound" in path.read_bytes() for path in recordings(tmp_path)):
            assert time.monotonic() < deadline
            time.sleep(0.02)
        began = time.monotonic()
        ran.send_signal(number)
        _, err = ran.communicate(timeout=30.0)
        took_s = time.monotonic() - began

    (path,) = recordings(tmp_path)
    assert ran.returncode == code
    assert f"Closed and safe: {path}" in err
    assert "Traceback" not in err
    assert replay(path).ledger.samples > 10
    assert took_s < 3.0  # a second on a machine that is not shared by ten others
