"""The light modes by the numbers: contrast computed with the formula of WCAG 2.2 (relative luminance, contrast ratio).

Needed: 4.5 for text, 3 for parts (success criteria 1.4.3 and 1.4.11; the figures from memory).
"""

import re
from pathlib import Path

import pytest

CSS = (Path(__file__).parents[2] / "console" / "static" / "console.css").read_text()


def colours(selector: str) -> dict[str, str]:
    block = re.search(re.escape(selector) + r" \{(.*?)\}", CSS, re.S)
    assert block
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", block.group(1)))


MODES = {
    "day": colours(":root"),
    "night": colours(":root") | colours('[data-light="night"]'),
    "sun": colours(":root") | colours('[data-light="sun"]'),
    "sun, urgent row": colours(":root")
    | colours('[data-light="sun"]')
    | colours('[data-light="sun"] tr[data-invert="1"]'),
}


def luminance(colour: str) -> float:
    """WCAG 2.2, definition of relative luminance."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_formula_gives_the_ends_that_the_standard_names() -> None:
    assert contrast("#ffffff", "#000000") == pytest.approx(21)
    assert contrast("#777777", "#777777") == 1


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize(
    ("ink", "ground", "least"),
    [
        ("figure", "face", 10),
        ("label", "face", 6),
        ("label", "dry", 4.5),
        ("wet", "dry", 4),
        ("rule", "face", 3),
        ("focus", "face", 6),
        ("on-alarm", "alarm", 4.5),
        ("on-warn", "warn", 4.5),
        ("on-quiet", "quiet", 4.5),
        ("tab-edge", "face", 3),
        ("figure", "dry", 4.5),
    ],
)
def test_what_must_be_seen_stands_out(mode: str, ink: str, ground: str, least: float) -> None:
    assert contrast(MODES[mode][ink], MODES[mode][ground]) >= least


@pytest.mark.parametrize("mode", ["sun", "sun, urgent row"])
def test_sun_is_black_and_white_only(mode: str) -> None:
    used = {name: colour for name, colour in MODES[mode].items() if colour not in ("#000000", "#ffffff")}
    assert used == {}


def test_only_what_waits_blinks_and_slower_than_three_a_second() -> None:
    """WCAG 2.2, success criterion 2.3.1: no more than three flashes a second."""
    period = re.findall(r"animation: blink ([\d.]+)s", CSS)
    assert [1 / float(seconds) for seconds in period] == [pytest.approx(0.6, abs=0.01)]
    assert "prefers-reduced-motion" in CSS


@pytest.mark.parametrize("mode", MODES)
def test_tabs_are_told_apart_without_any_hue(mode: str) -> None:
    """By luminance alone: strokes stand out from their own tab (WCAG 2.2, SC 1.4.11: 3:1), and each priority has its
    own number of them, so that neither a fill nor a hue has to be told from another."""
    of_mode = MODES[mode]
    assert all(contrast(of_mode[f"on-{fill}"], of_mode[fill]) >= 3 for fill in ("alarm", "warn", "quiet"))
    assert contrast(of_mode["tab-edge"], of_mode["face"]) >= 3
    assert contrast(of_mode["figure"], of_mode["dry"]) >= 3, "the strokes of an acknowledged, hollow tab"
    shown = dict(re.findall(r'\.tab\[data-p="(\d)"\] \.(one|two|three)', CSS))
    assert shown == {"3": "one", "2": "two", "1": "three"}
