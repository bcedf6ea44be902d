"""What a check tells beside the errors, each with its name in the force standards.

The verdict rests on the errors at the loads alone; these are looked at against the same
tolerance, and charted.
"""

from collections.abc import Mapping
from typing import Any, Final, NamedTuple

from tensionlog.check.verdict import Tolerance
from tensionlog.report.markup import Markup, table, tag


class Measure(NamedTuple):
    """One figure of a check.

    Attributes:
        key: Of the check's answer.
        name: In plain words.
        standard: Its name in ISO 376.
        unit: `%` or `N`.
    """

    key: str
    name: str
    standard: str
    unit: str


MEASURES: Final = (
    Measure("nonlinearity_pct", "off the straight line", "interpolation error, f c", "%"),
    Measure("repeatability_pct", "one load read again", "repeatability, b′", "%"),
    Measure("reversibility_pct", "going up against coming down", "reversibility, v", "%"),
    Measure("zero_return_N", "empty again", "zero error, f 0", "N"),
    Measure("creep_pct", "change while it hangs", "creep, c", "%"),
)


def limit_of(measure: Measure, tolerance: Tolerance) -> float:
    """The bench's tolerance, in the unit of a measure."""
    return tolerance.pct_of_load if measure.unit == "%" else tolerance.floor_n


def is_over(measure: Measure, check: Mapping[str, Any], tolerance: Tolerance) -> bool:
    """Whether a measure that was made is beyond the bench's tolerance."""
    value = check.get(measure.key)
    return value is not None and abs(value) > limit_of(measure, tolerance)


def measures_table(check: Mapping[str, Any], tolerance: Tolerance) -> Markup:
    """The figures as a table; one that is beyond the tolerance carries a sign and a word."""
    rows = [_row(measure, check, tolerance) for measure in MEASURES]
    heads = ["figure", "value", "tolerance", "named in ISO 376"]
    return table(heads, rows, label="Further figures of the check", class_="plain measures")


def _row(measure: Measure, check: Mapping[str, Any], tolerance: Tolerance) -> Markup:
    value = check.get(measure.key)
    over = is_over(measure, check, tolerance)
    shown = "not made" if value is None else f"{value:.3f} {measure.unit}".replace("-", "−")
    return tag(
        "tr",
        tag("th", f"{measure.name}{' ◆ look' if over else ''}", scope="row"),
        tag("td", shown),
        tag("td", f"{limit_of(measure, tolerance):g} {measure.unit}"),
        tag("td", measure.standard, class_="text"),
        class_="look" if over else None,
    )
