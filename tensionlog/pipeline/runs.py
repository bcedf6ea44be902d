"""What holds for a whole job, beside its ticket."""

from collections.abc import Sequence

from tensionlog.model.job import Job
from tensionlog.model.pull import Pull
from tensionlog.model.recording import Note
from tensionlog.model.sitting import JobRun
from tensionlog.pipeline.losses import dead_band, force_of_give
from tensionlog.plan import Placed
from tensionlog.pulls.hold import Law

SHOWN_MM = 1.0
"""The give that every report asks after: could this release have shown it?"""


def job_runs(
    *,
    jobs: Sequence[Job],
    notes: Sequence[tuple[float, Note]],
    pulls: Sequence[Pull],
    placed: Sequence[Placed],
    laws: Sequence[Law | None],
    phi_max: float,
    phi_measured: bool,
) -> list[JobRun]:
    """One record per `job-start`, in order."""
    starts = [at_s for at_s, note in notes if note.name == "job-start"]
    runs = []
    for number, (job, start_s) in enumerate(zip(jobs, starts, strict=True), 1):
        until = starts[number] if number < len(starts) else float("inf")
        mine = [(at, note) for at, note in notes if start_s <= at < until]
        of_job = [i for i, place in enumerate(placed) if place.job_number == number]
        law = next((laws[i] for i in reversed(of_job) if laws[i] is not None), None)
        own = [pulls[i] for i in of_job if not pulls[i].void]
        looked_at = [p for p in own if p.held_position is not None and p.drop is not None]
        runs.append(
            JobRun(
                number=number,
                bed=sum(earlier.ref == job.ref for earlier in jobs[:number]),
                raw=job.raw,
                started_s=start_s,
                ended_s=next((at for at, note in mine if note.name == "job-end"), None),
                relaxation=None if law is None else law.share,
                tau_s=None if law is None else law.tau_s,
                phi_max=phi_max,
                phi_measured=phi_measured,
                could_show_1mm=sum(_could_show(p, job, phi_max) for p in looked_at),
                releases=len(looked_at),
                broke=_broke(mine),
                inspections=_inspections(mine),
            )
        )
    return runs


def _broke(notes: Sequence[tuple[float, Note]]) -> str | None:
    """Position of the string that broke, or None."""
    said = (str(n.body.get("position", "?")) for _, n in notes if n.name == "broke")
    return next(said, None)


def _inspections(notes: Sequence[tuple[float, Note]]) -> tuple[tuple[str, str], ...]:
    """What was inspected, and what was found."""
    return tuple(
        (str(n.body.get("item", "")), str(n.body.get("answer", "")))
        for _, n in notes
        if n.name == "inspect"
    )


def _could_show(pull: Pull, job: Job, phi_max: float) -> bool:
    """Whether a millimetre given by the string behind would have moved the reading."""
    behind = pull.held_position
    if behind is None or pull.top is None or pull.kind != "pull":
        return False
    ea, span = job.ea_n(behind), job.spans_m.get(behind)
    if ea is None or not span:
        return False
    force = force_of_give(give_mm=SHOWN_MM, span_m=span, ea_n=ea)
    return bool(force > dead_band(top=pull.top, phi=phi_max))
