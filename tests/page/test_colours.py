"""Contrast of both schemes. Ratios and formula: W3C, WCAG 2.2, success criteria 1.4.3 and 1.4.11."""

import re
from pathlib import Path

import pytest

import brakebeat.page

CSS = (Path(brakebeat.page.__file__).parent / "static" / "page.css").read_text()
SCHEMES = {
    scheme: dict(re.findall(r"--([\w-]+): (#\w+);", block))
    for block, scheme in re.findall(r"\{([^{}]*?color-scheme: (light|dark);)", CSS)
}


def luminance(colour):
    digits = colour[1:] if len(colour) == 7 else "".join(sign * 2 for sign in colour[1:])
    parts = [int(digits[place : place + 2], 16) / 255 for place in (0, 2, 4)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_formula_gives_what_is_known():
    assert contrast("#000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_and_signs_stand_out(scheme):
    colours = SCHEMES[scheme]
    text = [(ink, on) for ink in ("ink", "soft") for on in ("ground", "panel")]
    text += [("alarm", "panel"), ("alarm-ink", "alarm"), ("panel", "fill")]
    assert min(contrast(colours[ink], colours[on]) for ink, on in text) >= 4.5
    signs = [("line", "panel"), ("fill", "panel"), ("ink", "window"), ("alarm", "panel"), ("line", "ground")]
    assert min(contrast(colours[sign], colours[on]) for sign, on in signs) >= 3


def test_both_ways_into_the_dark_are_the_same():
    dark = re.findall(r"\{ (--ground[^}]*color-scheme: dark;)", CSS)
    assert len(dark) == 2
    assert dark[0] == dark[1]
