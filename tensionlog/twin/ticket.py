"""Tickets of an invented workshop: every name, frame and string here is made up."""

from typing import Any

from tensionlog.twin.frame import HEAD_M
from tensionlog.twin.rng import Rng
from tensionlog.units import N_PER_LBF

BENCH_NAMES = {"lockout": "north", "constant-pull": "south", "drop-weight": "window"}
OWNERS = ("Ilka Vardholm", "Tobin Quillfeather", "Sena Okoroma-Lund", "Matteo Brisegno")
FRAMES = {
    "tennis": ("unbranded 98 in² frame", "unbranded 100 in² frame"),
    "squash": ("unbranded squash frame",),
    "badminton": ("unbranded 4U frame", "unbranded 3U frame"),
}
STRINGS = {"nylon": "house nylon", "polyester": "house polyester", "gut": "house gut"}
GAUGE_MM = {"tennis": 1.28, "squash": 1.16, "badminton": 0.68}
BEDS = {"tennis": (16, 19), "squash": (14, 18), "badminton": (22, 21)}
POUNDS = {"tennis": (46, 60), "squash": (24, 31), "badminton": (21, 29)}
FRAME_LIMIT_LBF = {"tennis": 65, "squash": 36, "badminton": 34}


def draw_ticket(
    rng: Rng,
    *,
    sport: str,
    material: str = "nylon",
    mains: int | None = None,
    crosses: int | None = None,
) -> dict[str, Any]:
    """Draw a ticket as a `job-start` note carries it, but for the string's stiffness."""
    low, high = POUNDS[sport]
    pounds = int(rng.integers(2 * low, 2 * high + 1)) / 2.0
    long_m, wide_m = HEAD_M[sport]
    return {
        "ref": f"T-{int(rng.integers(1000, 9999))}",
        "sport": sport,
        "mains": BEDS[sport][0] if mains is None else mains,
        "crosses": BEDS[sport][1] if crosses is None else crosses,
        "target_mains_N": round(pounds * N_PER_LBF, 2),
        "target_crosses_N": round(
            (pounds - (2.0 if sport == "tennis" else -1.0)) * N_PER_LBF, 2
        ),
        "order": "alternate",
        "clamps": {"left": "A", "right": "B", "start": "B", "crosses": "AB"},
        "u_EA_pct": 30,
        "head_long_m": long_m,
        "head_wide_m": wide_m,
        "owner": str(rng.choice(OWNERS)),
        "frame": str(rng.choice(FRAMES[sport])),
        "frame_limit_N": round(FRAME_LIMIT_LBF[sport] * N_PER_LBF, 1),
        "string": STRINGS[material],
        "gauge_mm": GAUGE_MM[sport],
        "reel": f"{material}-{int(rng.integers(1, 9))}",
        "operator": "the twin",
        "room_C": round(float(rng.uniform(18.0, 26.0)), 1),
        "rh_pct": int(rng.integers(35, 65)),
    }
