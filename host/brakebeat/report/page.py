"""What every page has: head, style, summary tiles, cautions, foot."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from importlib.resources import files
from xml.etree.ElementTree import Element

from brakebeat import __version__
from brakebeat.report.markup import Child, document, el
from brakebeat.report.words import CAUTIONS, COUNTED, FLAGS_LEAD, RATIO_CAVEAT
from brakebeat.results import FLAGS

# The page asks nobody for anything; this makes a browser hold it to that.
_POLICY = "default-src 'none'; style-src 'unsafe-inline'"
Tile = tuple[str, str, str]


def page(title: str, lead: str, tiles: Sequence[Tile], *sections: Child) -> bytes:
    """The whole file. ``tiles`` are (name, number, unit or remark)."""
    style = files("brakebeat.report").joinpath("style.css").read_text(encoding="utf-8")
    head = el(
        "head",
        el("meta", charset="utf-8"),
        el("meta", http_equiv="Content-Security-Policy", content=_POLICY),
        el("meta", name="viewport", content="width=device-width, initial-scale=1"),
        el("meta", name="color-scheme", content="light dark"),
        el("title", f"{title} – Brakebeat report"),
        el("style", style),
    )
    body = el(
        "body",
        _patterns(),
        el("a", "Skip to the numbers", href="#numbers", class_="skip"),
        el("header", _motif(), el("div", el("h1", title), el("p", lead))),
        el("main", _tiles(tiles), list(sections), _ratio_note(), _notes(), id="numbers"),
        _foot(),
    )
    return document(el("html", head, body, lang="en"))


def _patterns() -> Element:
    """Hatching, so that no area is told by its colour alone."""
    hatch = el(
        "pattern",
        el("rect", width=6.0, height=6.0),
        el("path", d="M0,3L6,3"),
        id="hatch",
        width=6.0,
        height=6.0,
        patternUnits="userSpaceOnUse",
        patternTransform="rotate(45)",
    )
    return el("svg", el("defs", hatch), class_="patterns", aria_hidden="true")


def _motif() -> Element:
    """A wheel with six magnets, one just passing."""
    import math

    dots = [
        el(
            "circle",
            cx=24 + 15 * math.sin(math.radians(60 * place)),
            cy=24 - 15 * math.cos(math.radians(60 * place)),
            r=3.4 if place == 0 else 2.2,
            class_="now" if place == 0 else None,
        )
        for place in range(6)
    ]
    rim = el("circle", cx=24.0, cy=24.0, r=21.0, class_="rim")
    return el(
        "svg", rim, dots, viewBox="0 0 48 48", width=48.0, height=48.0, class_="motif", aria_hidden="true"
    )


def _tiles(tiles: Sequence[Tile]) -> Element:
    made = [
        el("div", el("dt", name), el("dd", el("strong", value), " ", el("span", unit)))
        for name, value, unit in tiles
    ]
    return el("dl", made, class_="tiles")


def _ratio_note() -> Element:
    return el("aside", el("h2", "About eccentric : concentric"), el("p", RATIO_CAVEAT), class_="caveat")


def _notes() -> Element:
    meanings = [(el("dt", name.replace("_", " ")), el("dd", words)) for name, words in FLAGS.items()]
    return el(
        "section",
        el("h2", "How to read this"),
        el("p", COUNTED),
        el("details", el("summary", FLAGS_LEAD), el("dl", meanings)),
        el("h2", "Cautions"),
        el("ul", [el("li", words) for words in CAUTIONS]),
    )


def _foot() -> Element:
    made = f"{datetime.now().astimezone():%Y-%m-%d %H:%M}"
    return el(
        "footer",
        el("p", f"Made by Brakebeat {__version__} on {made} from the store; this file needs no network."),
    )
