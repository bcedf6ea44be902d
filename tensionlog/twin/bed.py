"""The bed being strung: its spans, the clamps that hold them, the meeting at a release."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from tensionlog.twin.bench import Bench
from tensionlog.twin.frame import Step, open_clamp, span_m
from tensionlog.twin.order import Clamping, Turn
from tensionlog.twin.rng import Rng
from tensionlog.twin.span import HeldSpan
from tensionlog.twin.strings import StringLaw

_STICK_SLIP_FOR_S = 60.0


@dataclass(slots=True, kw_only=True)
class Bed:
    """One bed.

    Attributes:
        bench: The bench it is strung on.
        job: The ticket.
        string: The string.
        rng: Chance.
        uses: How often each clamp was used in this sitting.
        clamping: Which clamp holds which string.
        spans: The spans strung so far.
    """

    bench: Bench
    job: Mapping[str, Any]
    string: StringLaw
    rng: Rng
    uses: dict[str, int]
    clamping: Clamping
    spans: dict[str, HeldSpan] = field(default_factory=dict)

    def span_m(self, position: str) -> float:
        """Length of the string at `position`."""
        given: float | None = self.job.get("spans_m", {}).get(position)
        return given or span_m(
            position,
            mains=self.job["mains"],
            crosses=self.job["crosses"],
            long_m=self.job["head_long_m"],
            wide_m=self.job["head_wide_m"],
        )

    def target_n(self, position: str) -> float:
        """What the ticket orders at `position`."""
        kind = "target_crosses_N" if position[0] == "X" else "target_mains_N"
        return float(self.job.get("targets", {}).get(position, self.job[kind]))

    def take(
        self, position: str, name: str, *, before_n: float, top_s: float, now_s: float
    ) -> HeldSpan:
        """Let clamp `name` take the string over from the head."""
        clamp = self.bench.clamps[name].used(self.uses.get(name, 0))
        self.uses[name] = self.uses.get(name, 0) + 1
        steps = clamp.stick_slips_mm(self.rng, seconds=_STICK_SLIP_FOR_S)
        span = HeldSpan(
            position=position,
            clamp=clamp,
            string=self.string,
            length_m=self.span_m(position),
            before_n=before_n,
            top_s=top_s,
            taken_s=now_s,
            slip_mm=clamp.take_over(self.rng, force_n=before_n),
            later_mm=[(now_s + t, mm) for t, mm in steps],
        )
        span.settle()
        self.spans[position] = span
        self.clamping.shut(position, name)
        return span


class Opening:
    """Opening the clamp behind, at whatever force the head then has.

    `found` tells afterwards what was met there.
    """

    def __init__(self, bed: Bed, turn: Turn, start_s: float) -> None:
        """Be ready for the release of the pull that starts at `start_s`."""
        self.bed, self.turn, self.start_s = bed, turn, start_s
        self.found: dict[str, float] | None = None

    def __call__(self, head_n: float, after_s: float) -> Step:
        """Let the held span and the head's side meet."""
        held, same = str(self.turn.held), self.turn.held == self.turn.position
        bed, span = self.bed, self.bed.spans[held]
        friction = bed.bench.friction
        ahead = head_n * (friction.exit if same else friction.rest)
        held_n = span.force_n(self.start_s + after_s, pulled_from_ahead_n=ahead)
        is_cross = held[0] == "X"
        phi = friction.at_release(bed.rng, is_cross=is_cross, same_string=same)
        head_m = bed.bench.tail_m + (0.0 if same else bed.span_m(self.turn.position))
        step = open_clamp(
            head_n=head_n, held_n=held_n, head_m=head_m, held_m=span.length_m, phi=phi
        )
        span.gain(step.held_n - held_n)
        self.found = _found(span, phi=phi, head_m=head_m, held_n=held_n, step=step)
        return step


def _found(
    span: HeldSpan, *, phi: float, head_m: float, held_n: float, step: Step
) -> dict[str, float]:
    return {
        "phi": phi,
        "held_n": held_n,
        "held_after_n": step.held_n,
        "hand_off_n": span.before_n,
        "slip_mm": span.slip_mm,
        "flex_mm": span.flex_mm,
        "held_span_m": span.length_m,
        "head_side_m": head_m,
    }
