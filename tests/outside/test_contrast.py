"""The style sheet's colours against WCAG 2.2, by its own formula.

Source: Web Content Accessibility Guidelines 2.2 (W3C Recommendation, 5 October 2023): "relative luminance",
"contrast ratio", success criteria 1.4.3 (text, 4.5:1) and 1.4.11 (what a control is drawn with, 3:1).
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import shopdesk.look

SHEET = Path(shopdesk.look.__file__).parent / "static" / "shopdesk" / "paper.css"

TEXT = 4.5
CONTROL = 3.0

# What stands on what, anywhere in paper.css and fields.css: front, ground, the least ratio.
PAIRS = [
    *[
        (ink, ground, TEXT)
        for ink in ("ink", "pencil", "verdigris", "oxide")
        for ground in ("paper", "sheet")
    ],
    ("ink", "verdigris-wash", TEXT),  # .asks
    ("pencil", "verdigris-wash", TEXT),
    ("verdigris", "verdigris-wash", TEXT),  # a quiet press under the pointer
    ("ink", "oxide-wash", TEXT),  # .wrong
    ("pencil", "oxide-wash", TEXT),
    ("oxide", "oxide-wash", TEXT),  # a link in it, a grave press under the pointer
    ("paper", "verdigris", TEXT),  # the words on a press
    ("pencil", "sheet", CONTROL),  # the line around a field
    ("verdigris", "paper", CONTROL),  # the line around what has the focus
]


def luminance(colour: str) -> float:
    """WCAG 2.2, "relative luminance" of an sRGB colour `#rrggbb`."""
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, "contrast ratio": from 1 to 21."""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def themes() -> dict[str, dict[str, str]]:
    """The colour tokens of the style sheet on a screen: what :root says, and what changes in the dark."""
    screen = SHEET.read_text().split("@media print")[0]
    blocks = re.findall(r":root\s*\{([^}]*)\}", screen)
    assert len(blocks) == 2, "a light and a dark set of tokens"
    light, dark = (dict(re.findall(r"--([\w-]+):\s*(#[0-9a-fA-F]{6})\b", block)) for block in blocks)
    assert set(light) == set(dark), "a colour that has no counterpart in the dark"
    return {"light": light, "dark": dark}


def mixed(front: str, share: float, back: str) -> str:
    """CSS Color 5 `color-mix(in srgb, front share, back)`."""
    parts = [
        round(int(front[at : at + 2], 16) * share + int(back[at : at + 2], 16) * (1 - share))
        for at in (1, 3, 5)
    ]
    return "#" + "".join(f"{part:02x}" for part in parts)


@pytest.mark.parametrize(
    ("one", "other", "ratio"),
    [
        ("#000000", "#ffffff", 21.0),  # WCAG 2.2, "contrast ratio": "can range from 1 to 21"
        ("#ffffff", "#ffffff", 1.0),  # the same
        ("#777777", "#ffffff", 4.48),  # as contrast checkers publish it: just fails (figure from memory)
        ("#767676", "#ffffff", 4.54),  # the lightest grey on white that passes (figure from memory)
    ],
)
def test_the_formula_gives_the_published_ratios(one: str, other: str, ratio: float) -> None:
    assert contrast(one, other) == pytest.approx(ratio, abs=0.005)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(("front", "ground", "least"), PAIRS)
def test_every_pair_that_meets_on_a_page(theme: str, front: str, ground: str, least: float) -> None:
    tokens = themes()[theme]
    assert contrast(tokens[front], tokens[ground]) >= least


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_a_press_under_the_pointer(theme: str) -> None:
    tokens = themes()[theme]
    assert "color-mix(in srgb, var(--verdigris) 85%, var(--ink))" in SHEET.read_text()
    assert contrast(tokens["paper"], mixed(tokens["verdigris"], 0.85, tokens["ink"])) >= TEXT


def test_colours_are_written_in_the_tokens_only() -> None:
    """Otherwise a pair could meet on a page that this file does not know of. (White: behind a QR code.)"""
    css = "\n".join(path.read_text() for path in sorted(SHEET.parent.glob("*.css")))
    outside = re.sub(r":root\s*\{[^}]*\}", "", css)
    assert set(re.findall(r"#[0-9a-fA-F]{3,8}\b", outside)) == {"#fff"}
