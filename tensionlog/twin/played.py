"""What every play returns: the file as a host would have written it, and the truth."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tensionlog.twin.bench import Bench
from tensionlog.twin.cell import Cell, Conversion, convert
from tensionlog.twin.device import Host, Note, Said, chunked, recording, say, say_plain
from tensionlog.twin.rng import Rng, stream
from tensionlog.units import from_newtons

FIRST_DAY = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
PLAIN_PATTERN = r"w=(?P<value>-?\d+(?:\.\d+)?) t=(?P<t_ms>\d+)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """One sitting, played.

    Attributes:
        recording: The whole `.rec` file.
        truth: What really happened; plain numbers, ready for JSON. Times are seconds
            from the recording's first sample on the device's clock.
    """

    recording: bytes
    truth: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sitting:
    """How a sitting is written down.

    Attributes:
        purpose: `job`, `check`, `hold` or `free`.
        started: When the recording was opened.
        plain_unit: Unit of another sketch's plain lines, or None for the pinned wire.
        read_every_s: How often the host reads the port.
    """

    purpose: str
    started: datetime = FIRST_DAY
    plain_unit: str | None = None
    read_every_s: float = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Script:
    """What happened at the bench, before any cell saw it.

    Attributes:
        force_n: True force at the cell, one value per step of the model.
        notes: (true seconds from the first sample, note).
        events: (true seconds from the first sample, button).
        truth: What really happened, by the bench's clock; it is finished in place.
    """

    force_n: NDArray[np.float64]
    notes: Sequence[tuple[float, Note]]
    events: Sequence[tuple[float, str]]
    truth: dict[str, Any]


def write_down(*, bench: Bench, script: Script, sitting: Sitting, seed: int) -> Played:
    """Let cell, device and host turn what happened into a recording."""
    device, cell = bench.device, bench.cell
    converted = convert(
        stream(seed, "cell"), cell=cell, force_n=script.force_n, rate_hz=device.true_rate_hz
    )
    host = Host(sitting.started, read_every_s=sitting.read_every_s)
    rng = stream(seed, "device")
    notes = [*script.notes]
    if sitting.plain_unit is None:
        said = say(rng, device=device, cell=cell, converted=converted, events=script.events)
    else:
        # Somebody else's sketch has no buttons: the host's keys take their place.
        notes += [(t, {"note": name}) for t, name in script.events]
        said = _plainly(rng, cell=cell, converted=converted, unit=sitting.plain_unit)
    data = recording(
        host=host,
        header=_header(bench, sitting, host),
        chunks=chunked(rng, host=host, said=said),
        notes=notes,
    )
    return Played(recording=data, truth=_finished(script.truth, bench, converted))


def write_notes(
    *, bench: Bench, notes: Sequence[tuple[float, Note]], sitting: Sitting
) -> Played:
    """Write a recording that holds notes alone, as a service does."""
    host = Host(sitting.started)
    header = _header(bench, sitting, host)
    data = recording(host=host, header=header, chunks=(), notes=notes)
    return Played(recording=data, truth={"samples": 0})


def _header(bench: Bench, sitting: Sitting, host: Host) -> dict[str, Any]:
    started = host.stamp(-host.opens_s)
    header = bench.header(purpose=sitting.purpose, started=started)
    if sitting.plain_unit is None:
        return header
    header = {k: v for k, v in header.items() if k not in ("calibration", "adc_bits")}
    return header | {"dialect": "plain", "pattern": PLAIN_PATTERN, "unit": sitting.plain_unit}


def _plainly(rng: Rng, *, cell: Cell, converted: Conversion, unit: str) -> Said:
    newtons = (converted.counts - cell.zero_counts) / cell.counts_per_n
    return say_plain(
        rng,
        t_s=converted.t_s,
        forces=newtons * from_newtons(1.0, unit),
        decimals=1 if unit == "N" else 2,
    )


def _finished(truth: dict[str, Any], bench: Bench, converted: Conversion) -> dict[str, Any]:
    """Add what only cell and device know; put every time on the device's clock."""
    for pull in truth.get("pulls", ()):
        before_s = pull["start_s"] - 0.5
        pull["idle_n"] = float(np.interp(before_s, converted.t_s, converted.zero_n))
    truth |= {
        "noise_n": bench.cell.noise_n,
        "span_error_pct": 100.0 * bench.cell.span_error,
        "zero_n": float(converted.zero_n[0]),
        "rate_hz": bench.device.true_rate_hz,
        "samples": len(converted.counts),
    }
    _on_device_clock(truth, bench.device.seconds(1.0))
    return truth


_NOT_TIMES = {"tau_s", "transit_s", "creep_mm_per_s", "creep_n_per_s"}


def _on_device_clock(truth: dict[str, Any], factor: float) -> None:
    for key, content in truth.items():
        if isinstance(content, dict):
            _on_device_clock(content, factor)
        elif isinstance(content, list):
            for item in content:
                if isinstance(item, dict):
                    _on_device_clock(item, factor)
        elif isinstance(content, float) and key.endswith("_s") and key not in _NOT_TIMES:
            truth[key] = content * factor
