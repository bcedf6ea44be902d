"""Services of a clamp: before and after each, and how long it helped."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from tensionlog.clamps.histories import series_of
from tensionlog.clamps.records import Record, Served
from tensionlog.clamps.series import Series
from tensionlog.clamps.services import effect_of
from tensionlog.clamps.status import iso
from tensionlog.pipeline.answers import clean
from tensionlog.pipeline.bench_records import records_of

if TYPE_CHECKING:
    from tensionlog.store import Store


def services_of(store: "Store", bench: str, clamp: str) -> tuple[list[dict[str, Any]], int]:
    """Every service of a clamp with what it changed, oldest first, and its tests so far."""
    records = records_of(store.history.happened(bench))
    name = f"give-{clamp}"
    give = series_of(records).get(name, Series(name=name, times_s=(), values=()))
    return effects_on(give, records, clamp), len(give.values)


def effects_on(give: Series, records: Sequence[Record], clamp: str) -> list[dict[str, Any]]:
    """What every service among the records changed in a clamp's give, oldest first."""
    effects: list[dict[str, Any]] = []
    served = [r for r in records if isinstance(r, Served) and r.clamp == clamp]
    for one in sorted(served, key=lambda r: r.at_s):
        effect = effect_of(give, one.at_s)
        effects.append(
            clean(
                {
                    "clamp": clamp,
                    "what": one.what,
                    "at": iso(one.at_s),
                    "before": effect.before,
                    "after": effect.after,
                    "change": None if effect.change is None else effect.change._asdict(),
                    "helped": effect.helped,
                    "needed": effect.needed,
                    "lasted_days": effect.lasted_days,
                }
            )
        )
    return effects
