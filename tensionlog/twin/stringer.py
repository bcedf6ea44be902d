"""The person at the bench: habits, slips of the hand, and nothing that is a fault."""

from dataclasses import dataclass

from tensionlog.twin.head import TRANSITS, Hand
from tensionlog.twin.rng import Rng, chance


@dataclass(frozen=True, slots=True, kw_only=True)
class Stringer:
    """Habits of one stringer; shares are probabilities per pull.

    Attributes:
        main_s: Time from one main to the next, mean.
        cross_s: The same of crosses, weaving included.
        ramp_s: Time to bring a string up.
        dwell_s: From the top to opening the clamp, median.
        after_s: From there to letting off, median.
        early: Share of clampings made before the reading has settled.
        again: Share of pulls cranked twice (lockout).
        slack: Share of pulls begun by taking up slack by hand.
        tugs: Tries at the gripper before a pull that come back to zero, mean number.
        knocks: Knocks of the table or tools between pulls, mean number.
        plucks: Share of holds in which the string is plucked.
        straightens: Share of crosses straightened in the hold.
        push_n: Greatest push on the reading as the clamp is shut.
        relifts: Share of drop-weight pulls that need more than one lift.
    """

    main_s: float = 12.0
    cross_s: float = 32.0
    ramp_s: float = 1.0
    dwell_s: float = 1.3
    after_s: float = 1.6
    early: float = 0.02
    again: float = 0.05
    slack: float = 0.25
    tugs: float = 0.3
    knocks: float = 0.2
    plucks: float = 0.1
    straightens: float = 0.6
    push_n: float = 0.5
    relifts: float = 0.35

    def hand(self, rng: Rng, *, set_n: float, opens: bool, is_cross: bool) -> Hand:
        """Draw how one pull is worked."""
        early = chance(rng, self.early)
        dwell = self.dwell_s * float(rng.lognormal(0.0, 0.25))
        after = self.after_s * float(rng.lognormal(0.0, 0.25))
        again = float(rng.uniform(0.25, 0.6)) * dwell if chance(rng, self.again) else None
        lifts = 2 + int(chance(rng, 0.3)) if chance(rng, self.relifts) else 1
        straightens = is_cross and not early and chance(rng, self.straightens)
        takes = float(rng.uniform(0.3, 1.2))
        clear = float(rng.uniform(0.1, 1.2))
        straighten_at = float(rng.uniform(0.3, 0.8))
        straightening = straighten_at + takes + clear - dwell if straightens else 0.0
        return Hand(
            set_n=set_n,
            ramp_s=self.ramp_s * float(rng.lognormal(0.0, 0.2)),
            dwell_s=float(rng.uniform(0.1, 0.3)) if early else dwell + max(0.0, straightening),
            after_s=float(rng.uniform(0.2, 0.4)) if early else max(0.6, after),
            opens=opens,
            transit_s=float(rng.uniform(0.005, 0.03)),
            transit=str(rng.choice(TRANSITS)),
            again_s=None if early else again,
            lifts=lifts,
            straighten_at_s=straighten_at if straightens else None,
            straighten_s=takes,
            straighten_n=float(rng.uniform(0.2, 0.012 * set_n)),
        )


def draw_stringer(rng: Rng) -> Stringer:
    """Draw a stringer."""
    return Stringer(
        main_s=float(rng.uniform(10.0, 15.0)),
        cross_s=float(rng.uniform(25.0, 40.0)),
        ramp_s=float(rng.uniform(0.6, 1.6)),
        dwell_s=float(rng.uniform(0.8, 1.8)),
        after_s=float(rng.uniform(1.2, 2.5)),
        early=float(rng.uniform(0.0, 0.05)),
        push_n=float(rng.uniform(0.1, 0.5)),
    )
