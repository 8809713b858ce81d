"""A picture with its heading, key and words below it."""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree.ElementTree import Element

from brakebeat.report.axes import mark
from brakebeat.report.markup import el

# A key's entry: ("line" and its class, or "mark", or "band"; kind or class; words).
KeyEntry = tuple[str, str, str]


def figure(heading: str, picture: Element, words: str, key: Sequence[KeyEntry] = ()) -> Element:
    """A ``figure`` with what its marks mean, and how to read it."""
    entries = [el("li", _sample(sort, kind), el("span", text)) for sort, kind, text in key]
    return el(
        "figure",
        el("h3", heading, class_="name"),
        picture,
        el("ul", entries, class_="key") if entries else None,
        el("figcaption", words),
    )


def _sample(sort: str, kind: str) -> Element:
    inside = {
        "line": lambda: el("path", d="M1,8L25,8", class_=kind),
        "band": lambda: el("rect", x=1.0, y=2.0, width=24.0, height=12.0, class_=kind),
        "mark": lambda: mark(kind.split()[0], 13.0, 8.0, "", " ".join(kind.split()[1:]), 4.5),
    }[sort]()
    return el("svg", inside, viewBox="0 0 26 16", width=26.0, height=16.0, aria_hidden="true")
