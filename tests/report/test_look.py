"""The palette can be read: on screen, in the dark, on paper, and without seeing colour."""

import itertools

import plotly.graph_objects as go
import pytest

from tensionlog.report.look import BARE, DARK, LIGHT, PRINT, STYLE, layout

TEXTS, GROUNDS = ("--ink", "--soft", "--accent"), ("--paper", "--card", "--wash")
PALETTES = {"light": LIGHT, "dark": DARK, "print": PRINT}


def luminance(colour):
    """Relative luminance (WCAG 2.2, definition "relative luminance"; from memory)."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    bright, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


def test_black_on_white_has_the_highest_contrast():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)  # WCAG 2.2, from memory


@pytest.mark.parametrize(
    ("name", "text", "ground"),
    list(itertools.product(PALETTES, TEXTS, GROUNDS)),
)
def test_all_text_has_enough_contrast_on_every_ground(name, text, ground):
    palette = PALETTES[name]
    # 4.5 is WCAG 2.2 success criterion 1.4.3 for text (from memory).
    assert contrast(palette[text], palette[ground]) >= 4.5


@pytest.mark.parametrize("palette", PALETTES.values())
def test_the_accent_differs_from_the_ink_in_brightness_too(palette):
    assert contrast(palette["--accent"], palette["--ink"]) >= 1.8


def test_paper_is_black_on_white():
    assert (PRINT["--paper"], PRINT["--ink"]) == ("#ffffff", "#000000")


@pytest.mark.parametrize("palette", PALETTES.values())
def test_every_palette_fills_every_role(palette):
    assert palette.keys() == LIGHT.keys()


def test_figures_name_roles_and_no_colours():
    ground = layout()
    assert ground["font"]["color"] == "var(--soft)"
    assert go.Figure(layout=ground).layout.template.to_plotly_json() == BARE


def test_the_style_sheet_loads_nothing():
    assert "url(" not in STYLE
    assert "@import" not in STYLE


def test_neither_a_trace_nor_a_table_row_is_broken_across_pages():
    rule = next(line for line in STYLE.splitlines() if "break-inside:avoid" in line)
    assert {".cell", "figure", "tr"} <= set(rule.partition("{")[0].strip().split(","))
