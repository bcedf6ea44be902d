"""A fall that the head makes good: its size by least squares on the whole dip.

After the clamp opens, the reading falls by the drop and comes back as the head lets it:

    y(t) = before(t) + (after − before)·(H − D) − drop·D

H is a step and D what is left of the fall: an exponential behind a short reaction time
for a motor, a damped swing for a weight on a bar. Both are smeared by the clamp's
opening (5–30 ms) and by the converter. For a motor the area under D is its time
constant whatever its inner lags are, which is why the area over the time constant is
the drop; the least-squares fit weighs the same dip by how much each sample can say.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.least_squares import Fit, fit

Floats = NDArray[np.float64]

_STEP_S = 0.001

FALLS_S = (0.006, 0.015, 0.027)
"""A clamp opens in 5–30 ms; the best of three stands for the rest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """H and D as the converter shows them, tabulated from 0 on.

    Attributes:
        fallen: Smeared step, 0 to 1, one entry a millisecond, shape (m,).
        left: Smeared remainder of the fall, shape (m,).
        slopes: Derivatives of `left` by the shape's parameters, shape (k, m).
        width_s: Time in which a step arrives.
    """

    fallen: Floats
    left: Floats
    slopes: Floats
    width_s: float

    def at(self, elapsed: Floats, table: Floats) -> Floats:
        """Look `table` up at seconds after the fall began, any shape; 0 before it."""
        place = np.clip(elapsed / _STEP_S, 0.0, len(table) - 1.001)
        low = place.astype(np.int64)
        part = place - low
        result: Floats = table[low] * (1.0 - part) + table[low + 1] * part
        return np.where(elapsed < 0.0, 0.0, result)


Remainder = Callable[[Floats, Floats], tuple[Floats, Floats]]
"""Parameters (k,) and x (m,) to D (m,) and its derivatives by the parameters (k, m)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recovery:
    """A family of dips and what is known of its parameters.

    Attributes:
        remainder: The family.
        parameters: Most likely parameters, shape (k,).
        sds: Their standard uncertainties for one hold, shape (k,).
        converter_s: Time over which the converter averages.
        length_s: How far the table reaches.
    """

    remainder: Remainder
    parameters: Floats
    sds: Floats
    converter_s: float
    length_s: float = 2.5

    def response(self, parameters: Floats, fall_s: float) -> Response:
        """Tabulate the dip's shape at `parameters` for a fall of this duration."""
        x = np.arange(0.0, self.length_s, _STEP_S)
        left, slopes = self.remainder(parameters, x)
        rows = np.vstack([np.ones_like(x), left, slopes])
        rows = _averaged(_averaged(rows, self.converter_s), fall_s)
        return Response(
            fallen=rows[0], left=rows[1], slopes=rows[2:], width_s=self.converter_s + fall_s
        )


def _averaged(rows: Floats, width_s: float) -> Floats:
    """Mean over the last `width_s` of each row, zeros before the first."""
    total = np.cumsum(rows, axis=1)
    width = max(1, round(width_s / _STEP_S))
    total[:, width:] -= total[:, :-width].copy()
    return total / width


@dataclass(frozen=True, slots=True, kw_only=True)
class Dip:
    """A fitted dip.

    Attributes:
        drop: Size of the fall, positive downward.
        u_drop: One standard uncertainty, moment and shape included.
        begin_s: When the fall begins, in the times' own origin.
        before: Coefficients of what the reading would do without the release.
        parameters: The shape's parameters as fitted, shape (k,).
        u_parameters: Their standard uncertainties, shape (k,).
        chi2: Weighted sum of squared residuals.
        degrees: Degrees of freedom.
    """

    drop: float
    u_drop: float
    begin_s: float
    before: Floats
    parameters: Floats
    u_parameters: Floats
    chi2: float
    degrees: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """The samples around a release that a dip is fitted to.

    Attributes:
        t: Times, seconds, shape (n,).
        y: Readings, shape (n,).
        before: Columns of what the reading would do without the release, shape (n, p).
        prior: Means and deviations of `before`'s coefficients and of after − before.
        noise: Standard deviation of one sample.
    """

    t: Floats
    y: Floats
    before: Floats
    prior: tuple[Floats, Floats]
    noise: float


def fit_dip(window: Window, recovery: Recovery, *, near_s: float, period: float) -> Dip:
    """Fit the drop, its moment and the dip's shape, from a first guess of the moment.

    Args:
        window: Samples and the model without release.
        recovery: Family of the dip's shape with what is known of it.
        near_s: First guess of when the fall begins.
        period: Time between samples.
    """
    search = _Search(window, recovery, *_coarse(window, recovery, near_s, period))
    state, result = search.linearised()
    for _ in range(4):
        if not search.moved(result.coefficients[-len(state) :], period):
            break
        state, result = search.linearised()
    return _dip(result, state, window.before.shape[1])


def _coarse(
    window: Window, recovery: Recovery, near_s: float, period: float
) -> tuple[float, float]:
    """Moment and duration of the fall, on a grid, so that the fine search starts well."""
    begins = near_s + period * np.arange(-3.0, 1.2, 0.2)
    best = (np.inf, near_s, FALLS_S[1])
    for fall_s in FALLS_S:
        chi2 = _chi2_of(window, recovery.response(recovery.parameters, fall_s), begins)
        index = int(np.argmin(chi2))
        best = min(best, (float(chi2[index]), float(begins[index]), fall_s))
    return best[1], best[2]


def _chi2_of(window: Window, response: Response, begins: Floats) -> Floats:
    """Least chi-square at each moment, all moments at once; shape of `begins`."""
    elapsed = window.t[None, :] - begins[:, None]
    fallen = response.at(elapsed, response.fallen)
    left = response.at(elapsed, response.left)
    shape = (*elapsed.shape, window.before.shape[1])
    design = np.concatenate(
        [np.broadcast_to(window.before, shape), (fallen - left)[..., None], -left[..., None]],
        axis=2,
    )
    means, sds = _with_drop(window)
    y = window.y - np.nan_to_num(window.before @ means[: window.before.shape[1]])
    off = means.copy()
    off[: window.before.shape[1]] = 0.0
    normal = np.einsum("bni,bnj->bij", design, design) / window.noise**2
    right = np.einsum("bni,n->bi", design, y) / window.noise**2 + off / sds**2
    normal += np.diag(1.0 / sds**2 + 1e-9)
    solution = np.linalg.solve(normal, right[..., None])[..., 0]
    total = float(y @ y) / window.noise**2 + float(off @ (off / sds**2))
    return total - np.einsum("bi,bi->b", solution, right)


def _with_drop(window: Window) -> tuple[Floats, Floats]:
    return np.append(window.prior[0], 0.0), np.append(window.prior[1], np.inf)


class _Search:
    """Gauss–Newton over the moment and the shape's parameters, halved until it helps."""

    def __init__(
        self, window: Window, recovery: Recovery, begin: float, fall_s: float
    ) -> None:
        self._window = window
        self._recovery = recovery
        self._fall_s = fall_s
        self._state = np.append(begin, recovery.parameters)

    def linearised(self) -> tuple[Floats, Fit]:
        """Where the search stands, and the whole fit linear around it."""
        known = self._recovery.parameters - self._state[1:]
        response = self._recovery.response(self._state[1:], self._fall_s)
        prior = (known, self._recovery.sds)
        return self._state, _solve_all(self._window, response, float(self._state[0]), prior)

    def moved(self, step: Floats, period: float) -> bool:
        """Move by `step` or a part of it; False where that no longer helps."""
        limit = np.append(1.5 * period, np.full(len(step) - 1, 0.5))
        step = np.clip(step, -limit, limit)
        if np.all(np.abs(step) < 0.02 * limit):
            return False
        before = self._cost(self._state)
        for _ in range(3):
            if self._cost(self._state + step) < before - 0.01:
                self._state = self._state + step
                return True
            step = 0.4 * step
        return False

    def _cost(self, state: Floats) -> float:
        off = (state[1:] - self._recovery.parameters) / self._recovery.sds
        response = self._recovery.response(state[1:], self._fall_s)
        return float(_chi2_of(self._window, response, state[:1])[0] + off @ off)


def _dip(result: Fit, state: Floats, before: int) -> Dip:
    u = np.sqrt(np.diag(result.covariance))
    return Dip(
        drop=float(result.coefficients[before + 1]),
        u_drop=float(u[before + 1]),
        begin_s=float(state[0]),
        before=result.coefficients[:before],
        parameters=state[1:],
        u_parameters=u[before + 3 :],
        chi2=result.chi2,
        degrees=result.degrees,
    )


def _solve_all(
    window: Window, response: Response, begin: float, shape_prior: tuple[Floats, Floats]
) -> Fit:
    """Linear fit of everything around one state: before, rise, drop, moment, shape."""
    elapsed = window.t - begin
    fallen = response.at(elapsed, response.fallen)
    left = response.at(elapsed, response.left)
    design = np.column_stack([window.before, fallen - left, -left])
    white = np.full(len(elapsed), 1.0 / window.noise)
    rise, drop = fit(design, window.y, white, _with_drop(window)).coefficients[-2:]
    by_shape = [-(rise + drop) * response.at(elapsed, slope) for slope in response.slopes]
    by_moment = _by_moment(elapsed, response, rise, drop)
    means = np.concatenate([window.prior[0], [0.0, 0.0], shape_prior[0]])
    sds = np.concatenate([window.prior[1], [np.inf, 4.0 * response.width_s], shape_prior[1]])
    return fit(np.column_stack([design, by_moment, *by_shape]), window.y, white, (means, sds))


def _by_moment(elapsed: Floats, response: Response, rise: float, drop: float) -> Floats:
    """Derivative of the reading by the moment."""
    width = 0.25 * max(response.width_s, 0.004)
    combined = rise * (response.fallen - response.left) - drop * response.left
    later = response.at(elapsed - width, combined)
    earlier = response.at(elapsed + width, combined)
    result: Floats = (later - earlier) / (2.0 * width)
    return result
