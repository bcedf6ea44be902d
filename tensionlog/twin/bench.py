"""A bench: head, cell, clamps, friction, device and the stringer who works it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from tensionlog.twin.cell import Cell, draw_cell
from tensionlog.twin.clamp import Clamp, draw_clamp
from tensionlog.twin.device import Device
from tensionlog.twin.frame import Friction, draw_friction
from tensionlog.twin.head import Head
from tensionlog.twin.head_bar import DropWeight
from tensionlog.twin.head_lockout import Lockout
from tensionlog.twin.head_motor import ConstantPull
from tensionlog.twin.rng import Rng, stream
from tensionlog.twin.stringer import Stringer, draw_stringer

ORIGIN = "the twin: workshop, players, frames, strings and readings are invented"
"""Stands in the header of everything that is played."""

SLOWEST_HZ, FASTEST_HZ = 10.0, 1280.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """Everything that stays the same from pull to pull.

    Attributes:
        name: What the workshop calls it.
        head: The tension head.
        cell: The load cell.
        clamps: By name.
        friction: What passes round the frame.
        device: The microcontroller.
        stringer: Who works it.
        tail_m: Length of string from the frame to the gripper.
        knows_calibration: Whether the recordings carry one.
        has_levers: Whether switches on the clamps' levers are wired to the device.
    """

    name: str
    head: Head
    cell: Cell
    clamps: Mapping[str, Clamp]
    friction: Friction
    device: Device
    stringer: Stringer
    tail_m: float
    knows_calibration: bool = True
    has_levers: bool = False

    def with_clamp(self, clamp: Clamp) -> "Bench":
        """Return the bench with one clamp exchanged."""
        return replace(self, clamps={**self.clamps, clamp.name: clamp})

    def calibration(self) -> dict[str, float]:
        """The calibration as a header carries it: what the host believes."""
        return {
            "zero_counts": self.cell.zero_counts,
            "counts_per_N": self.cell.counts_per_n,
        }

    def header(self, *, purpose: str, started: str) -> dict[str, Any]:
        """The JSON header of a recording made here."""
        head: dict[str, Any] = {"bench": self.name, "purpose": purpose}
        head |= {"rate_hz": self.device.rate_hz, "adc_bits": self.cell.adc_bits}
        head |= {"started": started, "origin": ORIGIN}
        if self.knows_calibration:
            head["calibration"] = self.calibration()
        return head | {"tensioner": self.head.name, "tail_m": self.tail_m}


def draw_head(rng: Rng, name: str) -> Head:
    """Draw a head of one of `HEAD_NAMES`."""
    if name == "lockout":
        return Lockout(
            spring_back=float(rng.uniform(0.01, 0.03)),
            trip_scatter=float(rng.uniform(0.002, 0.006)),
            dial_error=float(rng.normal(0.0, 0.01)),
        )
    if name == "constant-pull":
        return ConstantPull(
            band_n=float(rng.uniform(0.4, 1.5)),
            stop_n=float(rng.uniform(0.05, 0.2)),
            time_constant_s=float(rng.uniform(0.08, 0.35)),
            slowest_n_per_s=float(rng.uniform(1.0, 4.0)),
            sensor_s=float(rng.uniform(0.01, 0.04)),
            motor_s=float(rng.uniform(0.01, 0.03)),
            dial_error=float(rng.normal(0.0, 0.008)),
        )
    if name == "drop-weight":
        return DropWeight(
            bounce_hz=float(rng.uniform(0.5, 1.2)),
            damping=float(rng.uniform(0.08, 0.25)),
            dial_error=float(rng.normal(0.0, 0.01)),
        )
    raise ValueError(f"a head must be lockout, constant-pull or drop-weight, not {name!r}")


def draw_bench(
    seed: int, *, name: str = "north", head: str = "lockout", rate_hz: float = 80.0
) -> Bench:
    """Draw a sound bench: nothing on it is worn, and nothing is perfect.

    Args:
        seed: Same seed and name, same bench.
        name: What the workshop calls it.
        head: One of `head.HEAD_NAMES`.
        rate_hz: Nominal sample rate, 10…1280.

    Raises:
        ValueError: No such head, or a rate that no such device has.
    """
    if not SLOWEST_HZ <= rate_hz <= FASTEST_HZ:
        raise ValueError(f"a sample rate must be 10 to 1280 per second, not {rate_hz!r}")
    rng = stream(seed, f"bench {name}")
    return Bench(
        name=name,
        head=draw_head(rng, head),
        cell=draw_cell(rng),
        clamps={letter: draw_clamp(rng, letter) for letter in "AB"},
        friction=draw_friction(rng),
        device=_draw_device(rng, name, rate_hz),
        stringer=draw_stringer(rng),
        tail_m=round(float(rng.uniform(0.25, 0.45)), 3),
    )


def _draw_device(rng: Rng, name: str, rate_hz: float) -> Device:
    return Device(
        device=f"twin-{name}-{int(rng.integers(1, 9999)):04d}",
        rate_hz=rate_hz,
        true_rate_hz=rate_hz * float(rng.normal(1.0, 0.008)),
        ppm=float(rng.normal(0.0, 60.0)),
        boot=f"{int(rng.integers(1, 1 << 16)):04X}",
        first_seq=int(rng.integers(0, 60_000)),
        first_t_us=int(rng.integers(1_000_000, 4_294_000_000)),
    )
