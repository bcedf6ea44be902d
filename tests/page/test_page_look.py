"""Contrast by WCAG 2.2, sizes of targets, and states that do not hang on colour."""

import re
from importlib.resources import files
from itertools import product

import pytest

STATIC = files("tensionlog.page").joinpath("static")
STYLE = STATIC.joinpath("page.css").read_text(encoding="utf-8")
LIGHT, DARK = [dict(re.findall(r"--(\w+):(#\w+)", part)) for part in STYLE.split(":root{")[1:3]]

TEXT_AA, GRAPHIC_AA = 4.5, 3.0
"""WCAG 2.2, success criteria 1.4.3 (text) and 1.4.11 (what is not text)."""

TARGET_AA_PX = 24
"""WCAG 2.2, success criterion 2.5.8."""


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    digits = colour.lstrip("#")
    digits = "".join(2 * c for c in digits) if len(digits) == 3 else digits
    shares = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    linear = [s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4 for s in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_measure_itself():
    """Black on white is 21 to 1, by the definition."""
    assert contrast("#000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_every_text_stands_out_from_its_ground(palette):
    pairs = [*product(("ink", "soft", "accent"), ("paper", "card")), ("on", "accent")]
    pairs += [("ink", "wash"), ("accent", "wash"), ("paper", "ink")]
    for text, ground in pairs:
        assert contrast(palette[text], palette[ground]) >= TEXT_AA, (text, ground)
    assert contrast(palette["line"], palette["paper"]) >= GRAPHIC_AA


def test_targets_are_twice_what_is_asked_for():
    heights = re.findall(r"min-height:([\d.]+)rem", STYLE)
    buttons = re.search(r"\.key,\.button\{[^}]*min-height:([\d.]+)rem", STYLE)
    assert buttons is not None
    assert 16 * float(buttons[1]) >= 2 * TARGET_AA_PX
    assert min(16 * float(h) for h in heights if float(h) > 1) >= TARGET_AA_PX


def test_each_tone_has_a_mark_and_a_border_of_its_own():
    marks = STATIC.joinpath("bed.js").read_text(encoding="utf-8")
    shapes = re.search(r"const low = \{(.*?)\};", marks)
    assert shapes is not None
    drawn = re.findall(r'(good|look|bad): "([^"]+)"', shapes[1])
    assert len({shape for _, shape in drawn}) == len(drawn) == 3
    assert "border-style:dashed" in STYLE.split(".verdict.look{")[1].split("}")[0]


def test_each_state_of_a_string_has_a_stroke_of_its_own():
    strokes = dict(re.findall(r"\.bed \.(open|done|lost|next) line\{([^}]*)\}", STYLE))
    bare = {re.sub(r"stroke:var\(--\w+\);?", "", rule) for rule in strokes.values()}
    assert len(bare) == len(strokes) == 4


def test_good_and_bad_differ_in_pitch_and_in_length():
    sound = STATIC.joinpath("sound.js").read_text(encoding="utf-8")
    notes = dict(re.findall(r"(good|look|bad): \[(\[.*?\])\],", sound))
    pitch = {tone: float(re.findall(r"\d+", text)[0]) for tone, text in notes.items()}
    count = {tone: text.count("[") for tone, text in notes.items()}
    assert pitch["good"] > 2 * pitch["bad"]
    assert (count["good"], count["look"], count["bad"]) == (1, 2, 2)
