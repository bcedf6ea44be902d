"""The thresholds of the stretch finder."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class FinderRule:
    """When the cell counts as loaded.

    Attributes:
        enter_n: Force above empty at which a stretch begins, newtons. Well above what
            a hand on the gripper, a gripper's weight or zero wander give.
        leave_n: Force above empty below which it ends; lower than `enter_n`, so that
            noise at one level cannot cut a pull in two.
        leave_s: How long it must stay below.
        before_s: How much of the empty reading before a stretch is kept for its zero.
        after_s: How much after it.
        longest: Samples kept of one stretch; of a longer one the middle is left out.
    """

    enter_n: float = 12.0
    leave_n: float = 8.0
    leave_s: float = 0.12
    before_s: float = 6.0
    after_s: float = 0.2
    longest: int = 400_000

    def __post_init__(self) -> None:
        """Refuse thresholds without a dead band between them."""
        if not self.leave_n < self.enter_n:
            raise ValueError(
                f"leave_n must lie below enter_n, not {self.leave_n!r} and {self.enter_n!r}"
            )
