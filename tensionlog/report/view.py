"""The one record that a job's report is drawn from; the pipeline fills it."""

from dataclasses import dataclass
from datetime import datetime

from tensionlog.errors import UsageError
from tensionlog.model.job import Job
from tensionlog.model.pull import Pull
from tensionlog.model.recording import Header
from tensionlog.model.sitting import Found, JobRun, Ledger
from tensionlog.report.rounding import Reader
from tensionlog.units import N_PER_UNIT

ASSUMED_U_CALIBRATION_PCT = 0.5
"""What a scale that nobody checked is taken to be good for, and the page says so: half a
per cent is what the morning check tolerates."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Where the report draws its lines; they are printed with every verdict.

    The defaults are our own: orders come in half steps, and half a pound of a 25 lb
    pull is 2 %; a whole pound is worth a second look. The millimetre is where a hold
    test, too, begins to say `watch`.

    Attributes:
        within_pct: A reading this close to the expected one is within, per cent.
        look_pct: Beyond this a pull is one to look at, per cent.
        give_look_mm: A held string that gave at least this is one to look at.
    """

    within_pct: float = 2.0
    look_pct: float = 4.0
    give_look_mm: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LastCheck:
    """The morning check that stood when the job was strung.

    Attributes:
        on: Its date, as the workshop writes it.
        age_days: Days from the check to the job.
        verdict: `good`, `adjust` or `stop`.
        span_error_pct: Its finding on the slope, per cent; positive reads high.
        u_span_error_pct: One standard uncertainty of that, per cent.
    """

    on: str
    age_days: float
    verdict: str
    span_error_pct: float | None = None
    u_span_error_pct: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class JobView:
    """Everything a report on one job says.

    Attributes:
        recording: Name of the file, as its owner knows it.
        recorded_on: Start of the job in the time zone of the workshop.
        header: Header of the recording.
        job: The ticket.
        run: What holds for the whole job.
        found: Pulls of the recording; those of other jobs are left out by `pulls`.
        ledger: What the line lost.
        unit: The reader's unit, one of `N_PER_UNIT`.
        u_calibration_pct: One standard uncertainty of the calibration, per cent of the
            reading, or None where nobody knows it: then it is assumed.
        last_check: The check in force, or None where there was none.
        boot_starts_s: Start of each boot, seconds from the recording's first sample.
        limits: Where the lines are drawn.
        made_with: Name and version of the program.
    """

    recording: str
    recorded_on: datetime
    header: Header
    job: Job
    run: JobRun
    found: tuple[Found, ...]
    ledger: Ledger
    unit: str = "N"
    u_calibration_pct: float | None = None
    last_check: LastCheck | None = None
    boot_starts_s: tuple[float, ...] = (0.0,)
    limits: Limits = Limits()
    made_with: str = "tensionlog"

    def __post_init__(self) -> None:
        if self.unit not in N_PER_UNIT:
            raise UsageError(
                f"a report cannot be written in {self.unit!r}. "
                f"Ask for one of {', '.join(N_PER_UNIT)}."
            )

    @property
    def pulls(self) -> tuple[Found, ...]:
        """The pulls of this job, void ones too, in the order made."""
        return tuple(f for f in self.found if f.job_number == self.run.number)

    @property
    def is_calibrated(self) -> bool:
        """Whether the readings are forces; a job without pulls goes by its header."""
        if self.pulls:
            return all(is_force(f.pull) for f in self.pulls)
        return self.header.calibration is not None or self.header.is_plain

    @property
    def scale_u_pct(self) -> float:
        """One standard uncertainty of the scale, per cent: known, or else assumed."""
        known = self.u_calibration_pct
        return ASSUMED_U_CALIBRATION_PCT if known is None else known

    @property
    def reader(self) -> Reader:
        """Who reads: their unit, or counts where there is no calibration."""
        return Reader(self.unit if self.is_calibrated else "counts")

    @property
    def crosses_from(self) -> str:
        """Where the first cross lies: `top`, or `bottom` where the ticket says so."""
        return "bottom" if self.job.raw.get("crosses_from") == "bottom" else "top"


def is_force(pull: Pull) -> bool:
    """Whether the pull's readings are newtons, not counts."""
    return pull.unit != "counts"
