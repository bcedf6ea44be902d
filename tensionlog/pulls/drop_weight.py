"""A hold on a weight and a bar: a fall, then a damped swing back to the same force.

In the first tens of milliseconds the bar's inertia makes it a lockout; then the bar
swings about its balance at 0.5–1.2 Hz. The swing that the pull itself started goes on
underneath. Both are fitted together over the whole hold.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tensionlog.pulls.dip import Dip, Recovery, Window, fit_dip, scan_begin
from tensionlog.pulls.edge import SETTLE_PERIODS
from tensionlog.pulls.lockout import SEEN_RATIO, Hold
from tensionlog.pulls.shape import CLAMP_PUSH_S, Shape

Floats = NDArray[np.float64]

LOWEST_RATE_HZ = 40.0
"""Below this the first tens of milliseconds of a release fall between two samples."""

FREQUENCIES_HZ = (0.5, 0.6, 0.7, 0.82, 0.95, 1.1, 1.2)
DAMPINGS = (0.08, 0.16, 0.25)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """What is known of a bar's swing before a hold is looked at.

    Attributes:
        omega: Angular frequency, rad/s.
        decay: Decay rate, 1/s.
        u_ln: Standard uncertainty of the logarithm of both for one hold.
        converter: Conversions over which the converter averages.
    """

    omega: float = 5.0
    decay: float = 0.8
    u_ln: float = 0.3
    converter: float = SETTLE_PERIODS

    def recovery(self, period: float) -> Recovery:
        """The family of falls on a trace with this time between samples."""
        return Recovery(
            remainder=_left,
            parameters=np.log([self.omega, self.decay]),
            sds=np.array([self.u_ln, 2.0 * self.u_ln]),
            converter_s=self.converter * period,
            length_s=12.0,
        )


def _left(parameters: Floats, x: Floats) -> tuple[Floats, Floats]:
    """Damped swing back from a displacement at rest, and its slopes by ln ω and ln α."""
    omega, decay = np.exp(parameters)
    envelope = np.exp(-decay * x)
    cosine, sine = np.cos(omega * x), np.sin(omega * x)
    left = envelope * (cosine + decay / omega * sine)
    by_omega = envelope * (-omega * x * sine + decay * x * cosine - decay / omega * sine)
    by_decay = -decay * x * left + envelope * decay / omega * sine
    return left, np.vstack([by_omega, by_decay])


def learn_bar(shapes: Sequence[Shape]) -> Bar:
    """Find the swing that a job's holds have in common."""
    usable = [s for s in shapes if s.held_s > 1.2 and 1.0 / s.period >= LOWEST_RATE_HZ][:8]
    if not usable:
        return Bar()
    tried = [
        (float(np.median([_unexplained(s, bar) for s in usable])), bar)
        for f in FREQUENCIES_HZ
        for d in DAMPINGS
        for bar in [Bar(omega=2.0 * np.pi * f, decay=2.0 * np.pi * f * d)]
    ]
    rough = min(tried, key=lambda pair: pair[0])[1]
    dips = [d for s in usable if (d := _dip(s, rough)) is not None and d.drop > 8 * d.u_drop]
    if len(dips) < 2:
        return rough
    middle = np.exp(np.median([d.parameters for d in dips], axis=0))
    return replace(rough, omega=float(middle[0]), decay=float(middle[1]), u_ln=0.1)


def read_drop_weight(
    shape: Shape, *, bar: Bar, release_at: float | None = None
) -> Hold | None:
    """Fit the swing and the fall.

    Args:
        shape: The pull with its landmarks.
        bar: What the job knows so far.
        release_at: Moment given by a lever switch, device time, or None.

    Returns:
        None where the hold is too short to tell anything.
    """
    window = _window(shape, bar)
    if window is None:
        return None
    if 1.0 / shape.period < LOWEST_RATE_HZ:
        return _level_only(window, None)
    dip = _dip(shape, bar, release_at)
    if dip is None or (dip.drop < SEEN_RATIO * dip.u_drop and release_at is None):
        return _level_only(window, dip)
    level = float(dip.before[0])
    return Hold(
        top=level,
        release=level,
        u_release=_u_level(window),
        at_3s=level,
        drop=dip.drop,
        u_drop=dip.u_drop,
        seen=True,
        release_s=dip.begin_s,
        misfit=float(np.sqrt(dip.chi2 / dip.degrees)),
    )


def _window(shape: Shape, bar: Bar) -> Window | None:
    begin = int(np.searchsorted(shape.t, shape.t[shape.top] + 0.1))
    stop = int(np.searchsorted(shape.t, shape.t[shape.let_off] - CLAMP_PUSH_S, "right"))
    if stop - begin < 8:
        return None
    t, y = shape.t[begin:stop], shape.y[begin:stop]
    since = t - shape.t[shape.top]
    envelope = np.exp(-bar.decay * since)
    swing = [envelope * np.cos(bar.omega * since), envelope * np.sin(bar.omega * since)]
    wide = 0.15 * abs(shape.level)
    return Window(
        t=t,
        y=y,
        before=np.column_stack([np.ones_like(t), *swing]),
        prior=(
            np.array([shape.level, 0.0, 0.0, 0.0]),
            np.array([np.inf, wide, wide, 0.003 * abs(shape.level)]),
        ),
        noise=max(shape.noise, 1e-9),
    )


def _dip(shape: Shape, bar: Bar, release_at: float | None = None) -> Dip | None:
    window = _window(shape, bar)
    if window is None or len(window.t) < 24:
        return None
    recovery = bar.recovery(shape.period)
    near = release_at
    if near is None:
        near = scan_begin(window, recovery, period=shape.period)
    return fit_dip(window, recovery, near_s=near, period=shape.period)


def _unexplained(shape: Shape, bar: Bar) -> float:
    dip = _dip(shape, bar)
    return np.inf if dip is None else dip.chi2 / dip.degrees


def _u_level(window: Window) -> float:
    return float(np.std(window.y)) / np.sqrt(max(1.0, len(window.y) / 20.0))


def _level_only(window: Window, dip: Dip | None) -> Hold:
    coefficients, *_ = np.linalg.lstsq(window.before, window.y, rcond=None)
    level = float(coefficients[0]) if len(window.y) > 8 else float(np.median(window.y))
    return Hold(
        top=level,
        release=level,
        u_release=_u_level(window),
        at_3s=level,
        drop=None if dip is None else dip.drop,
        u_drop=None if dip is None else dip.u_drop,
        seen=False,
        release_s=None,
    )
