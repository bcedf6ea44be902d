"""What a page asks for beside the job under way: history, checks, clamps, papers, numbers."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, tzinfo
from typing import Any, Final

from tensionlog.page.form import TYPICAL, fields_of, ordered
from tensionlog.page.search import found, is_same, searched
from tensionlog.page.words import Words
from tensionlog.pipeline.archive import Archive, Listed, Tested
from tensionlog.pipeline.bench import Bench
from tensionlog.report.rounding import Reader, fixed, orders
from tensionlog.report.slip import Practice, slip_page

MOST_LISTED: Final = 60
MOST_ALERTS: Final = 3
DAY_S: Final = 86_400.0
STALE_DAYS: Final = 1.0
"""A check is of the day: yesterday's says nothing of what happened over night."""

MOST_POINTS: Final = 40
"""Points of the trace under way that go with one number, should a page have slept."""


class Library:
    """Answers what is asked, in plain values.

    Args:
        bench: For the number.
        archive: The database.
        words: The texts.
        unit: Unit of the workshop.
        bench_name: Whose tests and services are shown.
        practice: What is printed on slips.
        clamps: Names of the bench's clamps.
        utc: What time it is.
        zone: Time zone of the workshop; None is this computer's.
    """

    def __init__(
        self,
        *,
        bench: Bench,
        archive: Archive,
        words: Words,
        unit: str,
        bench_name: str,
        practice: Practice,
        clamps: Sequence[str],
        utc: Callable[[], datetime],
        zone: tzinfo | None = None,
    ) -> None:
        self._bench, self._archive, self._words = bench, archive, words
        self._unit, self._bench_name, self._practice = unit, bench_name, practice
        self._utc, self._zone, self._clamps = utc, zone, clamps

    # -- the number ----------------------------------------------------------------------

    def number(self, since_s: float) -> tuple[dict[str, Any], float]:
        """What the cell reads now, with the trace since `since_s` while it is loaded.

        Returns:
            The body, and the time up to which the trace is told.
        """
        bench, now = self._bench, self._bench.now
        reader = Reader(self._unit if bench.is_calibrated else "counts")
        force = bench.force if now.link == "ok" else None
        body: dict[str, Any] = {"f": None, "l": 0}
        if force is not None:
            body["f"] = round(reader.convert(force), 2)
        standing = now.standing
        if standing is not None and standing.is_loaded:
            start_s = standing.laps[-1].start_s
            trace = bench.trace_since(max(since_s, start_s - 0.3))
            step = max(1, len(trace) // MOST_POINTS)
            body["l"] = 1
            body["p"] = [
                [round(t - start_s, 3), round(reader.convert(f), 2)] for t, f in trace[::step]
            ]
            since_s = trace[-1][0] if trace else since_s
        return body, since_s

    # -- home ------------------------------------------------------------------------------

    def home(self) -> dict[str, Any]:
        """Today's check at a glance, and the latest jobs."""
        jobs = self._archive.jobs()
        return {
            "check": self._check_glance(),
            "alerts": self._alerts(),
            "clamps": self._clamp_states(),
            "jobs": [self._row(job) for job in jobs[:6]],
            "count": len(jobs),
        }

    def _alerts(self) -> list[dict[str, str]]:
        """Open alerts, the latest first, each with what to do."""
        status = self._archive.status(self._bench_name) or {}
        still = [a for a in status.get("alerts", ()) if a.get("state") != "closed"]
        return [
            {"text": str(a.get("text", "")), "do": str(a.get("do", ""))}
            for a in still[::-1][:MOST_ALERTS]
        ]

    def _clamp_states(self) -> list[dict[str, str]]:
        """How each clamp stands by its latest hold test."""
        status = self._archive.status(self._bench_name) or {}
        return [
            {"clamp": str(c.get("clamp")), "word": self._words(f"check.{c.get('state')}")}
            for c in status.get("clamps", ())
        ]

    def _check_glance(self) -> dict[str, Any]:
        checks = self._archive.tests("check", self._bench_name)
        if not checks:
            return {"verdict": "none", "word": self._words("check.none"), "age": ""}
        latest = checks[0]
        verdict = str(latest.body.get("verdict") or "unfinished")
        days = (self._utc() - latest.started).total_seconds() / DAY_S
        is_old = days > STALE_DAYS
        return {
            "verdict": "old" if is_old and verdict == "good" else verdict,
            "word": self._words(f"check.{verdict}"),
            "age": self._age(days),
            "old": is_old,
        }

    def _age(self, days: float) -> str:
        if days < 1.0 / 24.0:
            return self._words("age.minutes", n=max(0, round(days * 1440)))
        if days < 1.0:
            return self._words("age.hours", n=round(days * 24))
        return self._words("age.days", n=round(days))

    # -- history ---------------------------------------------------------------------------

    def history(self, query: str) -> dict[str, Any]:
        """Jobs that answer `query`, however it is spelt; the best first."""
        jobs = self._archive.jobs()
        hits = found(query, jobs, searched)
        return {"jobs": [self._row(job) for job in hits[:MOST_LISTED]], "count": len(hits)}

    def _row(self, job: Listed) -> dict[str, str]:
        reader = Reader(self._unit)
        ticket = job.ticket
        return {
            "name": job.name,
            "on": f"{job.started.astimezone(self._zone):%Y-%m-%d}",
            "owner": str(ticket.get("owner", "")),
            "frame": str(ticket.get("frame", "")),
            "string": str(ticket.get("string", "")),
            "ordered": orders(
                reader, _number(ticket, "target_mains_N"), _number(ticket, "target_crosses_N")
            ),
            "ref": str(ticket.get("ref", "")),
            "ended": "yes" if job.is_ended else "",
        }

    # -- the ticket's fields -----------------------------------------------------------------

    def fields(self, name: str, *, owner: str, frame: str, sport: str) -> dict[str, Any]:
        """Where a new ticket starts: that job, or the last of this player and frame."""
        jobs = self._archive.jobs()
        job = next((j for j in jobs if j.name == name), None)
        if job is None and (owner or frame):
            job = next((j for j in jobs if is_same(j.ticket, owner=owner, frame=frame)), None)
        if job is not None:
            said = fields_of(job.ticket, unit=self._unit)
            on = f"{job.started.astimezone(self._zone):%Y-%m-%d}"
            return {"base": job.name, "fields": said, "on": on}
        return {"base": "", "fields": TYPICAL.get(sport, {}), "on": ""}

    def dial(self, fields: Mapping[str, str], base: str) -> dict[str, Any]:
        """What to dial for what the fields order: lines to read, and the dial to take over."""
        from tensionlog.report.dial_text import advice_lines

        ticket = ordered(fields, self._words, unit=self._unit, base=self._archive.ticket(base))
        advice = self._archive.dial(ticket, bench=self._bench_name, at=self._utc())
        to_dial = [one.dial_n for one in advice.values() if one.dial_n is not None]
        whole = bool(advice) and len(to_dial) == len(advice)
        reader = Reader(self._unit)
        return {
            "lines": list(advice_lines(advice, unit=self._unit)),
            "dial": "/".join(fixed(reader.convert(n), 1) for n in to_dial) if whole else "",
        }

    # -- papers ------------------------------------------------------------------------------

    def report(self, name: str) -> str | None:
        """The report on a job, as a page; None where there is none."""
        from tensionlog.report.job import job_page

        view = self._archive.view(self._own(name), unit=self._unit)
        return None if view is None else job_page(view)

    def slip(self, name: str) -> str | None:
        """The slip of a job, as a page; None where there is none."""
        view = self._archive.view(self._own(name), unit=self._unit)
        return None if view is None else slip_page(view, self._practice)

    def _own(self, name: str) -> str:
        """`latest` is the job that was stored last."""
        if name != "latest":
            return name
        jobs = self._archive.jobs()
        return jobs[0].name if jobs else ""

    def clamp_page(self) -> str | None:
        """The maintenance page of the bench; None before its first sitting."""
        from tensionlog.report.clamp_page import clamp_page

        view = self._archive.clamp_page(self._bench_name, at=self._utc().astimezone(self._zone))
        return None if view is None else clamp_page(view)

    def check_page(self) -> str | None:
        """The page of the latest check; None before the first."""
        from tensionlog.report.check_page import check_page

        view = self._archive.check_page(self._bench_name, unit=self._unit)
        return None if view is None else check_page(view)

    # -- clamps and cell ---------------------------------------------------------------------

    def clamps(self) -> dict[str, Any]:
        """Hold tests and services of each clamp, the latest first."""
        rows = [
            self._test_row(test, self._hold_text(test.body))
            | {"clamp": str(test.body.get("clamp", "?"))}
            for test in self._archive.tests("hold", self._bench_name)[:MOST_LISTED]
        ]
        services = [
            {
                "on": f"{on.astimezone(self._zone):%Y-%m-%d}",
                "clamp": str(body.get("clamp", "")),
                "what": str(body.get("what", "")),
            }
            for on, body in self._archive.services(self._bench_name)[:MOST_LISTED]
        ]
        page = "/clamps" if self._archive.status(self._bench_name) else ""
        return {"tests": rows, "services": services, "names": list(self._clamps), "page": page}

    def cell(self) -> dict[str, Any]:
        """Morning checks, the latest first."""
        checks = self._archive.tests("check", self._bench_name)[:MOST_LISTED]
        rows = [self._test_row(c, self._check_text(c.body)) for c in checks]
        return {"tests": rows, "page": "/cell" if rows else ""}

    def _test_row(self, test: Tested, text: str) -> dict[str, str]:
        verdict = str(test.body.get("verdict") or "unfinished")
        return {
            "on": f"{test.started.astimezone(self._zone):%Y-%m-%d %H:%M}",
            "verdict": verdict,
            "word": self._words(f"check.{verdict}"),
            "text": text,
        }

    def _hold_text(self, body: Mapping[str, Any]) -> str:
        reader, lost = Reader(self._unit), _number(body, "hand_off_loss_N")
        give = _number(body, "give_mm")
        text = self._words("clamps.lost", amount=reader.amount(lost))
        return (
            text
            if give is None
            else text + self._words("say.in-mm", give=f"{fixed(give, 2)} mm")
        )

    def _check_text(self, body: Mapping[str, Any]) -> str:
        error, u = _number(body, "span_error_pct"), _number(body, "u_span_error_pct")
        if error is None:
            return ""
        return self._words(
            "cell.span", error=fixed(error, 2), u="–" if u is None else fixed(u, 2)
        )


def _number(body: Mapping[str, Any], key: str) -> float | None:
    value = body.get(key)
    return float(value) if isinstance(value, int | float) else None
