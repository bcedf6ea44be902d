"""The whole way from damaged bytes to the ledger, against a device that knows the truth."""

from functools import partial
from pathlib import Path

import pytest

from tensionlog.model.lines import Sample
from tensionlog.model.recording import Arrival
from tensionlog.model.sitting import Ledger
from tensionlog.sources import open_recording
from tensionlog.timeline import Reading, Timeline
from tensionlog.twin import faults, play_job
from tensionlog.twin.rng import stream
from tensionlog.wire import LineDecoder

CLEAN = play_job(seed=4, mains=4, crosses=0, pace=0.0).recording
SENT = sum(isinstance(line, Sample) for line in LineDecoder().feed(CLEAN))

DAMAGE = {
    "lines lost": partial(faults.lose_lines, share=0.02),
    "a run lost": partial(faults.lose_run, samples=400),
    "bytes changed": partial(faults.garble, share=0.02),
    "cut in mid-line": partial(faults.cut_mid_line, times=9),
    "noise": partial(faults.noise_burst, times=9, longest=300),
    "copies": partial(faults.duplicate, share=0.02),
    "saturated": partial(faults.saturate, samples=9),
    "torn": faults.torn_tail,
}


def read(path: Path, recording: bytes) -> tuple[Ledger, list]:
    """What the product makes of a recording."""
    path.write_bytes(recording)
    reader, decoder = open_recording(path), LineDecoder()
    header = reader.header
    line = Timeline(
        rate_hz=header.rate_hz, adc_bits=header.adc_bits, started_s=reader.started_s
    )
    events: list = []
    for item in reader:
        if isinstance(item, bytes):
            events += line.feed(decoder.feed(item))
        elif isinstance(item, Arrival):
            line.arrived(item.at_s)
    events += line.feed(decoder.close()) + line.close()
    return line.ledger(), events


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("restart", [None, True, False], ids=["one start", "said", "unsaid"])
@pytest.mark.parametrize("wraps", [False, True], ids=["", "near wraps"])
def test_every_loss_is_in_the_ledger_and_nothing_else(tmp_path, seed, restart, wraps):
    rng, damaged = stream(seed, "damage"), CLEAN
    done = {"bad_lines": 0, "missing": 0, "duplicates": 0, "restarts": 0, "swallowed": 0}
    kinds = list(DAMAGE.values())
    if restart is not None:
        kinds.insert(0, partial(faults.restart, at_share=0.4, announced=restart))
    if wraps and restart is None:
        kinds.insert(0, faults.near_wrap)
    for kind in kinds:
        after = kind(damaged, rng=rng)
        damaged = after.stream
        done |= {name: done.get(name, 0) + number for name, number in after.done.items()}
    ledger, events = read(tmp_path / "a.rec", damaged)
    assert ledger.bad_lines == done["bad_lines"]
    assert ledger.missing == done["missing"]
    assert ledger.duplicates == done["duplicates"]
    assert ledger.restarts == done["restarts"]
    assert ledger.samples + ledger.missing + done["swallowed"] + done.get("torn", 0) == SENT
    assert ledger.faults == {"saturated": done["saturated"]}
    readings = [event for event in events if isinstance(event, Reading)]
    assert len(readings) == ledger.samples - done["saturated"]
    assert len({(r.boot, r.t_s) for r in readings}) == len(readings)
