"""What every play returns: the file as a host would have written it, and the truth."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tensionlog.twin.bench import Bench
from tensionlog.twin.cell import convert
from tensionlog.twin.device import Host, Note, Said, chunked, recording, say, say_plain
from tensionlog.twin.rng import stream
from tensionlog.twin.strings import DT_S
from tensionlog.units import from_newtons

FIRST_DAY = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
PLAIN_PATTERN = r"w=(?P<value>-?\d+(?:\.\d+)?) t=(?P<t_ms>\d+)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """One sitting, played.

    Attributes:
        recording: The whole `.rec` file.
        truth: What really happened; plain numbers, ready for JSON.
        chunks: What the device sent, as it was read: (true seconds from the first
            sample, bytes).
        notes: What the operator noted, by the same clock.
    """

    recording: bytes
    truth: dict[str, Any]
    chunks: Sequence[tuple[float, bytes]]
    notes: Sequence[tuple[float, Note]]


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
        truth: What really happened; times in true seconds, forces as the settled cell
            would read them.
    """

    force_n: NDArray[np.float64]
    notes: Sequence[tuple[float, Note]]
    events: Sequence[tuple[float, str]]
    truth: dict[str, Any]


def write_down(*, bench: Bench, script: Script, sitting: Sitting, seed: int) -> Played:
    """Let cell, device and host turn what happened into a recording."""
    converted = convert(
        stream(seed, "cell"),
        cell=bench.cell,
        force_n=script.force_n,
        rate_hz=bench.device.true_rate_hz,
    )
    zero_n = np.interp(np.arange(len(script.force_n)) * DT_S, converted.t_s, converted.zero_n)
    _finish_truth(script.truth, bench=bench, zero_n=zero_n)
    host = Host(sitting.started, read_every_s=sitting.read_every_s)
    rng = stream(seed, "device")
    if sitting.plain_unit is None:
        said = say(
            rng, device=bench.device, t_s=converted.t_s, counts=converted.counts,
            adc_bits=bench.cell.adc_bits, events=script.events,
        )  # fmt: skip
    else:
        said = _plainly(bench, converted.t_s, converted.counts, sitting.plain_unit, seed)
    chunks = chunked(rng, host=host, said=said)
    header = _header(bench, sitting, host)
    notes = [*script.notes]
    if sitting.plain_unit is not None:
        notes += [(t, {"note": name}) for t, name in script.events]
    data = recording(host=host, header=header, chunks=chunks, notes=notes)
    return Played(recording=data, truth=script.truth, chunks=chunks, notes=notes)


def _header(bench: Bench, sitting: Sitting, host: Host) -> dict[str, Any]:
    started = sitting.started.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    header = bench.header(purpose=sitting.purpose, started=started)
    if sitting.plain_unit is None:
        return header
    for gone in ("calibration", "adc_bits"):
        header.pop(gone, None)
    return header | {"dialect": "plain", "pattern": PLAIN_PATTERN, "unit": sitting.plain_unit}


def _plainly(
    bench: Bench, t_s: NDArray[np.float64], counts: NDArray[np.int64], unit: str, seed: int
) -> Said:
    cell = bench.cell
    force = (counts - cell.zero_counts) / cell.counts_per_n * from_newtons(1.0, unit)
    decimals = 1 if unit == "N" else 2
    return say_plain(stream(seed, "sketch"), t_s=t_s, forces=force, decimals=decimals)


def _finish_truth(truth: dict[str, Any], *, bench: Bench, zero_n: NDArray[np.float64]) -> None:
    """Add what only cell and device know; put every time on the device's clock."""
    for pull in truth.get("pulls", ()):
        at = min(len(zero_n) - 1, max(0, round((pull["start_s"] - 0.5) / DT_S)))
        pull["idle_n"] = float(zero_n[at])
    truth["noise_n"] = bench.cell.noise_n
    truth["span_error_pct"] = 100.0 * bench.cell.span_error
    truth["zero_n"] = float(zero_n[0])
    truth["rate_hz"] = bench.device.true_rate_hz
    _on_device_clock(truth, 1.0 + bench.device.ppm * 1e-6)


_DURATIONS = {"tau_s", "transit_s", "time_constant_s", "break_s"}


def _on_device_clock(truth: dict[str, Any], factor: float) -> None:
    for key, content in truth.items():
        if isinstance(content, dict):
            _on_device_clock(content, factor)
        elif isinstance(content, list):
            for item in content:
                if isinstance(item, dict):
                    _on_device_clock(item, factor)
        elif key.endswith("_s") and key not in _DURATIONS and isinstance(content, float):
            truth[key] = content * factor
