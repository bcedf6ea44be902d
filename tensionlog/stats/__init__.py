"""General statistics: arrays in, frozen results with their uncertainty out.

Nothing here knows of strings; any series of numbers will do. The functions to call are
those listed below, each with its docstring; what they return says what each field means.

A calibration and its inverse (JCGM 100:2008, H.3, has the same shape):

>>> line = fit_line([0.0, 10.0, 20.0, 30.0], [1.0, 101.2, 200.9, 301.1])
>>> round(line.intercept, 3), round(line.slope, 4), round(line.residual_sd, 4)
(1.05, 10.0, 0.1581)
>>> back = line.read_back(150.0)
>>> round(back.value, 3), round(back.u, 3)
(14.895, 0.018)

A curve of another degree, and whether it earns its place:

>>> curve = fit_polynomial([0, 1, 2, 3, 4], [0.0, 1.1, 3.9, 9.2, 15.9], degree=2)
>>> straight = fit_polynomial([0, 1, 2, 3, 4], [0.0, 1.1, 3.9, 9.2, 15.9], degree=1)
>>> f_test(straight, curve).p < 0.01
True

An individuals chart (NIST/SEMATECH e-Handbook 6.3.2.2, its own numbers):

>>> flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
>>> chart = individuals_chart(flow)
>>> round(chart.centre, 2), round(chart.upper, 4), round(chart.lower, 4)
(50.81, 55.8041, 45.8159)

`ewma_chart` and `cusum_chart` take a target and a standard deviation, `self_starting_cusum`
needs neither; `cusum_run_length` and `ewma_run_length` say how long each runs. `theil_sen`
gives a slope with its interval, `time_until` when it reaches a limit.
"""

from tensionlog.stats.control import cusum_chart, ewma_chart, individuals_chart
from tensionlog.stats.fits import f_test, fit_line, fit_polynomial, fit_proportional
from tensionlog.stats.run_length import cusum_run_length, ewma_run_length
from tensionlog.stats.self_starting import self_starting_cusum
from tensionlog.stats.trend import theil_sen, time_until

__all__ = [
    "cusum_chart",
    "cusum_run_length",
    "ewma_chart",
    "ewma_run_length",
    "f_test",
    "fit_line",
    "fit_polynomial",
    "fit_proportional",
    "individuals_chart",
    "self_starting_cusum",
    "theil_sen",
    "time_until",
]
