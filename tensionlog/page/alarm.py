"""What must be told at once, in words: the state first, then what to do."""

from tensionlog.page.words import Words
from tensionlog.pipeline.now import Now
from tensionlog.pipeline.trouble import OffRate, Unsafe
from tensionlog.report.rounding import fixed


def alarm_texts(now: Now, words: Words) -> list[str]:
    """Everything that stands against the bench, the line first; empty where nothing does."""
    told = [] if now.link == "ok" else [_link(now, words)]
    if now.trouble is not None:
        told.append(words("trouble", why=now.trouble))
    if now.alarms.unsafe is not None:
        told.append(_unsafe(now.alarms.unsafe, words))
    if now.alarms.senseless:
        told.append(words("alarm.senseless"))
    if now.alarms.off_rate is not None:
        told.append(_rate(now.alarms.off_rate, words))
    return told


def _link(now: Now, words: Words) -> str:
    if now.link == "stranger" and now.stranger is not None:
        return words("link.stranger", device=now.stranger.device, wanted=now.stranger.wanted)
    return words(f"link.{now.link}", text=now.link_text)


def _unsafe(unsafe: Unsafe, words: Words) -> str:
    lost = words("alarm.lost", bytes=unsafe.lost_bytes) if unsafe.lost_bytes else ""
    return words("alarm.unsafe", why=unsafe.why, lost=lost)


def _rate(off: OffRate, words: Words) -> str:
    key = "alarm.wires" if off.is_wiring else "alarm.rate"
    return words(key, rate=fixed(off.rate_hz, 1), stated=f"{off.stated_hz:g}")
