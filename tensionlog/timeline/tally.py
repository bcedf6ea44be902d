"""What is counted on the way, for the ledger."""

from collections import Counter

from tensionlog.model.sitting import Ledger


class Tally:
    """Running counts; the meaning of each is that of `Ledger`."""

    def __init__(self) -> None:
        self.samples = 0
        self.bad_lines = 0
        self.missing = 0
        self.restarts = 0
        self.duplicates = 0
        self.faults: Counter[str] = Counter()

    def ledger(self, *, seconds: float, is_counted: bool) -> Ledger:
        """The counts as they stand.

        Args:
            seconds: From the first sample to the last, on the device clock.
            is_counted: Whether the dialect numbers its samples; if not, what is missing
                and how often the device started cannot be known.
        """
        return Ledger(
            samples=self.samples,
            seconds=seconds,
            bad_lines=self.bad_lines,
            missing=self.missing if is_counted else None,
            restarts=self.restarts if is_counted else None,
            duplicates=self.duplicates,
            faults=dict(self.faults),
        )
