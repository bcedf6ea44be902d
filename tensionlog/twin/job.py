"""A job: every string of a bed, pulled, released, clamped, with the slips of a human."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tensionlog.twin import disturb
from tensionlog.twin.bench import Bench, draw_bench
from tensionlog.twin.device import Note
from tensionlog.twin.frame import Step, open_clamp, span_m
from tensionlog.twin.head import Hand, Trace
from tensionlog.twin.order import Clamping, Turn, positions, swapped
from tensionlog.twin.played import FIRST_DAY, Played, Script, Sitting, write_down
from tensionlog.twin.pull_truth import pull_truth
from tensionlog.twin.rng import Rng, chance, stream
from tensionlog.twin.span import HeldSpan
from tensionlog.twin.strings import DT_S, StringLaw, draw_string
from tensionlog.twin.ticket import draw_ticket

MISHAPS = (
    "redo", "undo", "lift-off", "wrong-clamp", "no-release", "broke", "grip-slip",
    "hold-slip", "early", "again", "swap", "boost", "extra",
)  # fmt: skip
"""What may be ordered to happen at a position."""

INSPECTED = (
    ("frame", "sound"), ("supports", "firm"), ("arms", "locked"), ("weave", "both sides checked"),
)  # fmt: skip


def play_job(
    *,
    seed: int,
    sport: str = "tennis",
    head: str = "lockout",
    material: str = "nylon",
    rate_hz: float = 80.0,
    bench: Bench | None = None,
    ticket: Mapping[str, Any] | None = None,
    mains: int | None = None,
    crosses: int | None = None,
    mishaps: Mapping[str, str] | None = None,
    pace: float = 1.0,
    started: datetime = FIRST_DAY,
    plain_unit: str | None = None,
    read_every_s: float = 0.1,
    string: StringLaw | None = None,
) -> Played:
    """Play one job and write it down.

    Args:
        seed: Same seed, same bytes. Another rate leaves what the hands do alone.
        sport: `tennis`, `squash` or `badminton`.
        head: One of `head.HEAD_NAMES`; not looked at where `bench` is given.
        material: `nylon`, `polyester` or `gut`.
        rate_hz: Nominal sample rate, 10…1280; not looked at where `bench` is given.
        bench: The bench; drawn from `seed` where None.
        ticket: The `job` object of the note; drawn where None.
        mains: Number of mains, where the ticket is drawn.
        crosses: Number of crosses, where the ticket is drawn.
        mishaps: Position to one of `MISHAPS`.
        pace: Scale of the waits between pulls; below 1 the stringer hurries.
        started: Host time at which the recording was opened.
        plain_unit: `N`, `kgf` or `lbf` for another sketch's plain lines.
        read_every_s: How often the host reads the port.
        string: The string; drawn from `seed` where None.
    """
    bench = bench or draw_bench(seed, head=head, rate_hz=rate_hz)
    rng = stream(seed, "ticket")
    job = dict(ticket or draw_ticket(
        rng, sport=sport, material=material, mains=mains, crosses=crosses
    ))  # fmt: skip
    string = string or draw_string(rng, sport=sport, material=material)
    job.setdefault("EA_N", round(string.ea_n * float(rng.normal(1.0, 0.12)), -1))
    stringing = _Stringing(
        bench=bench, job=job, string=string, rng=stream(seed, "hands"),
        pace=pace, mishaps=dict(mishaps or {}),
    )  # fmt: skip
    script = stringing.play()
    sitting = Sitting(
        purpose="job", started=started, plain_unit=plain_unit, read_every_s=read_every_s
    )
    return write_down(bench=bench, script=script, sitting=sitting, seed=seed)


@dataclass(slots=True, kw_only=True)
class _Stringing:
    """A job in the making: the clock, the clamps, the spans, what was noted."""

    bench: Bench
    job: dict[str, Any]
    string: StringLaw
    rng: Rng
    pace: float
    mishaps: dict[str, str]
    now_s: float = 3.0
    bed: int = 1
    clamping: Clamping = field(default_factory=Clamping)
    spans: dict[str, HeldSpan] = field(default_factory=dict)
    parts: list[tuple[float, NDArray[np.float64]]] = field(default_factory=list)
    notes: list[tuple[float, Note]] = field(default_factory=list)
    events: list[tuple[float, str]] = field(default_factory=list)
    pulls: list[dict[str, Any]] = field(default_factory=list)
    uses: dict[str, int] = field(default_factory=dict)

    def play(self) -> Script:
        """Play the job from the ticket to the last tail."""
        self.notes.append((-0.24, {"note": "job-start", "job": self.job}))
        for item, answer in INSPECTED[:3]:
            self.note("inspect", after_s=0.2, item=item, answer=answer)
        while not self._bed_done():
            self.bed += 1
            self.note("job-start", after_s=20.0 * self.pace, job=self.job)
        self.now_s += 2.0
        self.note("inspect", after_s=1.0, item=INSPECTED[3][0], answer=INSPECTED[3][1])
        self.note("job-end", after_s=0.5)
        return Script(
            force_n=self._force_n(), notes=self.notes, events=self.events, truth=self._truth()
        )

    def note(self, name: str, *, after_s: float, **body: Any) -> None:
        """Let time pass, then note."""
        self.now_s += after_s
        self.notes.append((self.now_s, {"note": name, **body}))

    def _bed_done(self) -> bool:
        """String one bed; False if it broke."""
        self.clamping = Clamping(**self.job["clamps"])
        self.spans = {}
        order = tuple(self.job.get("sequence") or positions(
            mains=self.job["mains"], crosses=self.job["crosses"], order=self.job["order"]
        ))  # fmt: skip
        moved = [p for p in order if self.mishaps.get(p) == "swap"]
        done = order
        for position in moved:
            done = swapped(done, position)
        for i, position in enumerate(done):
            if moved and position != order[i] or (i and done[i - 1] != order[i - 1]):
                self.note("place", after_s=0.5, position=position)
            if not self._string(position):
                return False
        if "extra" in self.mishaps.values():
            self._pull(Turn(order[-1], None, None, "A"), beyond=True)
        return True

    def _string(self, position: str) -> bool:
        mishap = self.mishaps.get(position)
        self._wait(position)
        pull = self._pull(self.clamping.turn(position), mishap=mishap)
        if mishap == "broke":
            self.mishaps.pop(position)
            self.note("broke", after_s=1.0, position=position)
            return False
        if mishap in ("redo", "undo"):
            self._take_back(pull, position, mishap)
            self._wait(position)
            self._pull(self.clamping.again(position))
        if mishap == "lift-off":
            self._lift_off(position)
        return True

    def _take_back(self, pull: dict[str, Any], position: str, how: str) -> None:
        pull["void"] = True
        if how == "redo" and chance(self.rng, 0.5):
            self.now_s += float(self.rng.uniform(0.5, 1.5))
            self.events.append((self.now_s, "redo"))
        else:
            self.note(how, after_s=1.0)

    def _lift_off(self, position: str) -> None:
        self.note("lift-off", after_s=1.0)
        self.now_s += float(self.rng.uniform(1.5, 4.0))
        self._pull(self.clamping.again(position), kind="lift-off")

    def _wait(self, position: str) -> None:
        """Thread the next string; let hands tug and knock meanwhile."""
        habits = self.bench.stringer
        mean = habits.cross_s if position[0] == "X" else habits.main_s
        wait = max(1.6, self.pace * (mean - 5.0) * float(self.rng.lognormal(0.0, 0.2)))
        for _ in range(int(self.rng.poisson(habits.knocks))):
            self._disturb(wait, disturb.knock(self.rng))
        for _ in range(int(self.rng.poisson(habits.tugs))):
            self._disturb(wait, disturb.tug(self.rng))
        self.now_s += wait

    def _disturb(self, wait: float, extra: NDArray[np.float64]) -> None:
        room = wait - len(extra) * DT_S - 0.9
        if room > 0.3:
            self.parts.append((self.now_s + 0.3 + float(self.rng.uniform(0.0, room)), extra))

    def _hand(self, turn: Turn, mishap: str | None, beyond: bool) -> Hand:
        is_cross = turn.position[0] == "X"
        targets = self.job.get("targets", {})
        kind = "target_crosses_N" if is_cross else "target_mains_N"
        target = targets.get(turn.position, self.job[kind])
        opens = turn.opens is not None and mishap != "no-release"
        set_n = self.job.get("dial_N") or target
        hand = self.bench.stringer.hand(self.rng, set_n=set_n, opens=opens, is_cross=is_cross)
        if self.job.get("prestretch_pct") and self.bench.head.name == "constant-pull":
            hand = replace(hand, prestretch=self.job["prestretch_pct"] / 100.0)
        return _mishandled(hand, mishap, beyond)

    def _pull(
        self, turn: Turn, *, kind: str = "pull", mishap: str | None = None, beyond: bool = False
    ) -> dict[str, Any]:
        hand = self._hand(turn, mishap, beyond)
        start_s = round(self.now_s / DT_S) * DT_S
        opening = _Opening(self, turn, start_s)
        trace = self.bench.head.pull(self.rng, string=self.string, hand=hand, opened=opening)
        force, plucked = disturb.worked(
            self.rng, stringer=self.bench.stringer, hand=hand, trace=trace
        )
        if mishap == "broke":
            force = force[: trace.top_i + (len(force) - trace.top_i) // 2]
        lead, push = disturb.shut_push(self.rng, greatest_n=self.bench.stringer.push_n)
        disturb.add(force, len(force) - lead, push)
        slack_s = self._put(start_s, force, broke=mishap == "broke")
        end_s = start_s + len(force) * DT_S
        self.now_s = end_s + 0.4
        shuts = (
            None
            if mishap == "broke" or beyond
            else self._shut(turn, trace, start_s, end_s, mishap)
        )
        pull = pull_truth(
            bench=self.bench, turn=turn, hand=hand, trace=trace, opening=opening.found,
            start_s=start_s, slack_s=slack_s, shut_s=end_s - lead * DT_S, end_s=end_s,
        )  # fmt: skip
        pull |= {
            "number": len(self.pulls) + 1, "bed": self.bed, "kind": kind,
            "clamp_shut": shuts and shuts.clamp.name, "plucked": plucked,
        }  # fmt: skip
        self.pulls.append(pull)
        return pull

    def _put(self, start_s: float, force: NDArray[np.float64], *, broke: bool) -> float | None:
        """Lay the trace on the time line; return when slack was taken up, or None."""
        tail = (
            force[-1] * np.exp(-np.arange(30) / 3.0)
            if broke
            else disturb.let_off(self.rng, from_n=float(force[-1]))
        )
        rise_i = int(np.argmax(force > 10.0))
        slack_s = None
        if chance(self.rng, self.bench.stringer.slack):
            lead, rise = disturb.slack(self.rng, rise=force[:rise_i])
            force = np.concatenate([rise, force[rise_i:]])
            slack_s = start_s - lead * DT_S
        self.parts.append((slack_s or start_s, np.concatenate([force, tail])))
        return slack_s

    def _shut(
        self, turn: Turn, trace: Trace, start_s: float, end_s: float, mishap: str | None
    ) -> HeldSpan:
        name = turn.shuts
        if mishap == "wrong-clamp":
            name = next(c for c in self.bench.clamps if c != turn.shuts)
            self.note("clamp", after_s=0.8, shut=name)
        clamp = self.bench.clamps[name].used(self.uses.get(name, 0))
        self.uses[name] = self.uses.get(name, 0) + 1
        before = float(trace.force_n[-1])
        span = HeldSpan(
            position=turn.position, clamp=clamp, string=self.string,
            length_m=self.span_m(turn.position), before_n=before,
            top_s=start_s + trace.top_i * DT_S, taken_s=end_s,
            slip_mm=clamp.take_over(self.rng, force_n=before),
        )  # fmt: skip
        span.later_mm = [
            (end_s + t, mm) for t, mm in clamp.stick_slips_mm(self.rng, seconds=60.0)
        ]
        span.settle()
        self.spans[turn.position] = span
        self.clamping.shut(turn.position, name)
        return span

    def span_m(self, position: str) -> float:
        """Length of the string at `position` in this bed."""
        job = self.job
        given = job.get("spans_m", {}).get(position)
        return given or span_m(
            position, mains=job["mains"], crosses=job["crosses"],
            long_m=job["head_long_m"], wide_m=job["head_wide_m"],
        )  # fmt: skip

    def _force_n(self) -> NDArray[np.float64]:
        force = np.zeros(round((self.now_s + 3.0) / DT_S))
        for at_s, part in self.parts:
            disturb.add(force, round(at_s / DT_S), part)
        return force

    def _truth(self) -> dict[str, Any]:
        return {
            "pulls": self.pulls,
            "string": {
                "law": self.string.law, "EA_N": self.string.ea_n,
                "relax_per_decade": self.string.relax, "tau_s": self.string.tau_s,
            },
            "friction": {"rest": self.bench.friction.rest, "shaken": self.bench.friction.shaken},
            "clamps": {
                name: {"typical_slip_mm": c.typical_slip_mm(250.0),
                       "flex_mm_at_250N": c.flex_mm(250.0)}
                for name, c in self.bench.clamps.items()
            },
            "uses": dict(self.uses),
        }  # fmt: skip


class _Opening:
    """Opening the clamp behind, at whatever force the head then has."""

    def __init__(self, stringing: _Stringing, turn: Turn, start_s: float) -> None:
        self.stringing, self.turn, self.start_s = stringing, turn, start_s
        self.found: dict[str, Any] | None = None

    def __call__(self, head_n: float, after_s: float) -> Step:
        """Let held span and head's side meet."""
        job, turn = self.stringing, self.turn
        assert turn.held is not None
        span = job.spans[turn.held]
        friction = job.bench.friction
        same = turn.held == turn.position
        ahead = head_n * (friction.exit if same else friction.rest)
        held_n = span.force_n(self.start_s + after_s, pulled_from_ahead_n=ahead)
        phi = friction.at_release(job.rng, is_cross=turn.position[0] == "X", same_string=same)
        tail = job.bench.tail_m
        head_m = tail if same else tail + job.span_m(turn.position)
        step = open_clamp(
            head_n=head_n, held_n=held_n, head_m=head_m, held_m=span.length_m, phi=phi
        )
        span.gain(step.held_n - held_n)
        self.found = {
            "phi": phi, "held_n": held_n, "held_after_n": step.held_n,
            "slip_mm": span.slip_mm, "flex_mm": span.flex_mm, "hand_off_n": span.before_n,
            "held_span_m": span.length_m, "head_side_m": head_m,
        }  # fmt: skip
        return step


def _mishandled(hand: Hand, mishap: str | None, beyond: bool) -> Hand:
    """The same hand with what goes wrong in this pull."""
    if mishap == "redo":
        return replace(hand, set_n=0.9 * hand.set_n)
    if mishap in ("grip-slip", "hold-slip"):
        return replace(
            hand,
            grip_slip=0.3 if mishap == "grip-slip" else 0.1,
            slip_in_hold=mishap == "hold-slip",
        )
    if mishap == "early":
        return replace(hand, dwell_s=0.2, after_s=0.3, again_s=None, straighten_at_s=None)
    if mishap == "again":
        return replace(hand, again_s=0.4, dwell_s=max(1.2, hand.dwell_s), lifts=2)
    if mishap == "boost" or beyond:
        return replace(hand, set_n=1.1 * hand.set_n)
    return hand
