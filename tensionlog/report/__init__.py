"""Results in, pages and texts out: nothing fetched, nothing written, nothing measured.

* `view`      the one record that everything here is drawn from
* `rows`      each pull as it is answered, judged and printed
* `verdict`, `spread`, `basis`   what the rows say together
* `bed`, `order`, `traces`       info -> figure
* `job`       the whole page; `summary` and `answer` tell the same numbers without it

Modules that draw import plotly at their top, so import them where they are used.
"""
