"""`tensionlog device check`: the empty cell measured, its wiring told."""

import sys
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from tensionlog.cli import options
from tensionlog.cli.bench_file import load_settings
from tensionlog.cli.device import device
from tensionlog.cli.device_port import (
    ANSWER_WITHIN_S,
    PORT_HELP,
    listening,
    port_of,
    say_identity,
)
from tensionlog.cli.say import json_line, one_line, progress

if TYPE_CHECKING:
    from tensionlog.device.budget import Budget
    from tensionlog.device.diagnosis import Diagnosis
    from tensionlog.device.heard import Heard
    from tensionlog.pipeline.listen import Listener

LEAST_S = 6.0
PULL_S = 6.0


@device.command(short_help="Measure noise, drift, clock and wiring of the empty cell.")
@click.option("--port", help=PORT_HELP)
@click.option("--baud", type=click.IntRange(min=50), help="Bits per second.")
@click.option(
    "--seconds",
    type=click.FloatRange(min=LEAST_S),
    default=30.0,
    show_default=True,
    help="How long to listen to the empty cell.",
)
@click.option("--pull", is_flag=True, help="Then ask for a pull by hand: is it alive?")
@click.option("--sensitivity", type=float, help="Cell: millivolts a volt at rated load.")
@click.option("--rated-n", type=float, help="Cell: rated load, newtons.")
@click.option("--excitation", type=float, help="Voltage across the bridge.")
@click.option("--bridge-ohm", type=float, default=350.0, show_default=True, help="Bridge.")
@click.option("--converter-nv", type=float, help="Converter: noise of one reading, nV rms.")
@click.option("--range-mv", type=float, help="Converter: half its input range, millivolts.")
@options.as_json
def check(
    port: str | None,
    baud: int | None,
    seconds: float,
    pull: bool,
    as_json: bool,
    **parts: Any,
) -> None:
    """Measure the empty cell, its clock and its rate, and tell what is wrong with it.

    Take everything off the cell that is not always there, let it stand still. With the
    cell's and the converter's figures the noise is held against what they must have.
    """
    from tensionlog.device.diagnosis import diagnose
    from tensionlog.device.identity import identity_of

    settings = load_settings().with_changes({"port": port, "baud": baud})
    url = port_of(settings)
    pulled_from_s = None
    with listening(url, settings.baud) as listener:
        _wait_for(listener)
        began_s = listener.lasted_s
        _listen(listener, began_s + seconds, "The empty cell, left alone")
        if pull and listener.samples:
            click.echo("Now pull at the cell by hand, for three seconds.", err=True)
            pulled_from_s = listener.lasted_s
            _listen(listener, pulled_from_s + PULL_S, "Pull")
        heard = listener.heard()
    who = identity_of(heard)
    scale = _counts_per_n(settings.calibration)
    budget = _budget(heard, parts)
    found = diagnose(heard, pulled_from_s=pulled_from_s, counts_per_n=scale, budget=budget)
    if as_json:
        json_line(_answer(heard, found, budget, who.state, scale))
    else:
        say_identity(url, heard, who, as_json=False)
        _say(found, budget, scale)
    if not who.is_usable or any(finding.level == "bad" for finding in found.findings):
        sys.exit(1)


def _wait_for(listener: "Listener") -> None:
    """Let a board start, and what filters it has settle."""
    for _ in listener.listen(ANSWER_WITHIN_S):
        if listener.hellos and listener.samples > 40:
            return


def _listen(listener: "Listener", until_s: float, label: str) -> None:
    began_s = listener.lasted_s
    done = 0
    with progress(round(until_s - began_s), label) as bar:
        for _ in listener.listen(until_s):
            passed = round(listener.lasted_s - began_s)
            bar.update(passed - done)
            done = passed


def _counts_per_n(calibration: Any) -> float | None:
    slope = (calibration or {}).get("counts_per_N")
    return float(slope) if slope else None


def _budget(heard: "Heard", stated: dict[str, Any]) -> "Budget | None":
    """The budget, where all of its figures were given."""
    from tensionlog.device.budget import Parts, budget_of

    named = {
        "sensitivity_mv_per_v": stated["sensitivity"],
        "rated_n": stated["rated_n"],
        "excitation_v": stated["excitation"],
        "converter_nv": stated["converter_nv"],
        "range_mv": stated["range_mv"],
    }
    if any(value is None for value in named.values()):
        return None
    rate_hz = heard.rate_hz or (heard.hello.rate_hz if heard.hello else 80.0)
    return budget_of(
        Parts(
            **named,
            bridge_ohm=stated["bridge_ohm"],
            adc_bits=heard.adc_bits,
            rate_hz=rate_hz,
        )
    )


def _say(found: "Diagnosis", budget: "Budget | None", scale: float | None) -> None:
    from tensionlog.device.words import clock_words, finding_words, noise_words

    if found.clock is not None:
        click.echo(clock_words(found.clock))
    if found.noise is not None:
        click.echo(noise_words(found.noise, counts_per_n=scale))
    if budget is not None:
        click.echo(
            f"parts must have {budget.total_n:.4f} N: converter {budget.converter_n:.4f}, "
            f"bridge {budget.bridge_n:.4f}, steps {budget.steps_n:.5f}"
        )
    for finding in found.findings:
        mark = {"bad": "BAD", "look": "LOOK", "fine": "ok"}[finding.level]
        click.echo(f"{mark:<5}{one_line(finding_words(finding))}")


def _answer(
    heard: "Heard",
    found: "Diagnosis",
    budget: "Budget | None",
    state: str,
    scale: float | None,
) -> dict[str, Any]:
    from tensionlog.device.words import finding_words

    def plain(record: Any) -> Any:
        return None if record is None else asdict(record)

    return {
        "state": state,
        "hello": None if heard.hello is None else heard.hello._asdict(),
        "samples": heard.samples,
        "bad_lines": heard.bad_lines,
        "missing": heard.missing,
        "restarts": heard.restarts,
        "faults": dict(heard.faults),
        "counts_per_N": scale,
        "noise": plain(found.noise),
        "clock": plain(found.clock),
        "hum": plain(found.hum),
        "spikes": plain(found.spikes),
        "pull": plain(found.answer),
        "budget": None if budget is None else {**asdict(budget), "total_n": budget.total_n},
        "findings": [
            {**asdict(finding), "text": finding_words(finding)} for finding in found.findings
        ],
    }
