"""The colours of the stylesheet, measured:
text and controls stand out from what they lie on, in light and in dark."""

import re
from pathlib import Path

import pytest

CSS = (Path(__file__).parents[2] / "restorer/static/restorer/app.css").read_text()
STATES = ["sound", "open", "due", "late", "quiet"]
GROUNDS = ["ground", "surface", "sunken"]

TEXT = [
    *[(text, ground) for text in ["ink", "ink-soft", "link"] for ground in GROUNDS],
    *[(state, f"{state}-tint") for state in STATES],
    *[("ink", f"{state}-tint") for state in STATES],
    *[(text, f"{state}-tint") for text in ["ink-soft", "link"] for state in STATES],
    *[("late", ground) for ground in GROUNDS],  # error text of a field
    ("on-primary", "primary"),
    ("on-primary", "primary-strong"),
    ("on-danger", "danger"),
    ("on-frame", "frame"),
    ("on-frame", "frame-board"),
    ("on-oiled", "oiled"),
    ("ink", "band"),  # words inside the wear curve
    ("ink", "band-deep"),
]
CONTROLS = [
    *[(part, ground) for part in ["edge", "focus", "primary", "danger"] for ground in GROUNDS],
    *[("focus", f"{state}-tint") for state in STATES],
    ("oiled", "frame"),  # the focus ring and the mark of the current page
    ("oiled", "frame-board"),
    ("on-frame", "frame-board"),
    ("curve", "surface"),
    ("today", "band"),
    ("today", "band-deep"),
    ("bar", "surface"),
    ("bar-now", "surface"),
]


def tokens(block: str) -> dict[str, str]:
    return dict(re.findall(r"--([a-z0-9-]+): (#[0-9a-f]{6});", block))


LIGHT = tokens(CSS[CSS.index(":root {") : CSS.index("@media (prefers-color-scheme: dark)")])
DARK = LIGHT | tokens(
    CSS[CSS.index("@media (prefers-color-scheme: dark)") : CSS.index("@layer reset {")]
)


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it
    (https://www.w3.org/TR/WCAG22/#dfn-relative-luminance)."""
    shares = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4 for s in shares)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio as WCAG 2.2 defines it (https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio)."""
    low, high = sorted([luminance(one), luminance(other)])
    return (high + 0.05) / (low + 0.05)


def test_the_measure_agrees_with_its_definition() -> None:
    # WCAG 2.2 gives the range as 1 to 21;
    # #767676 is the lightest grey that passes 4.5 on white (well known, from memory).
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#5a5a5a", "#5a5a5a") == 1
    assert contrast("#767676", "#ffffff") >= 4.5 > contrast("#777777", "#ffffff")


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize(("text", "ground"), TEXT)
def test_text_stands_out_by_seven(scheme: dict[str, str], text: str, ground: str) -> None:
    # WCAG 2.2, 1.4.6 Contrast (Enhanced): in the sun 4.5 is not enough
    assert contrast(scheme[text], scheme[ground]) >= 7


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize(("part", "ground"), CONTROLS)
def test_controls_and_lines_that_mean_something_stand_out_by_three(
    scheme: dict[str, str], part: str, ground: str
) -> None:
    assert contrast(scheme[part], scheme[ground]) >= 3


def test_the_dark_scheme_answers_every_colour_of_the_light_one() -> None:
    dark_only = tokens(
        CSS[CSS.index("@media (prefers-color-scheme: dark)") : CSS.index("@layer reset {")]
    )

    assert dark_only.keys() == LIGHT.keys()


def test_the_browser_bar_takes_the_colour_of_the_frame() -> None:
    base = (Path(__file__).parents[2] / "restorer/templates/base.html").read_text()

    assert f'content="{LIGHT["frame"]}" media="(prefers-color-scheme: light)"' in base
    assert f'content="{DARK["frame"]}" media="(prefers-color-scheme: dark)"' in base
