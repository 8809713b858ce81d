"""HTML and SVG as trees: whatever text goes in comes out escaped, by the standard library's serializer."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import TypeAlias
from xml.etree.ElementTree import Element, tostring

Child: TypeAlias = "Element | str | Iterable[Child] | None"
# What HTML has no character for: controls but tab and newline, lone surrogates, non-characters.
_UNSHOWABLE = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")


def el(tag: str, *children: Child, **attributes: str | float | None) -> Element:
    """An element. ``class_`` becomes class, ``aria_label`` aria-label; an attribute that is None is left out."""
    made = Element(tag)
    for name, value in attributes.items():
        if value is not None:
            made.set(
                name.rstrip("_").replace("_", "-"), plain(value) if isinstance(value, str) else short(value)
            )
    _add(made, children)
    return made


def _add(parent: Element, children: Iterable[Child]) -> None:
    for child in children:
        if child is None:
            continue
        if isinstance(child, str):
            _add_text(parent, plain(child))
        elif isinstance(child, Element):
            parent.append(child)
        else:
            _add(parent, child)


def _add_text(parent: Element, text: str) -> None:
    if len(parent):
        parent[-1].tail = (parent[-1].tail or "") + text
    else:
        parent.text = (parent.text or "") + text


def plain(text: str) -> str:
    """``text`` with a replacement character for each one that HTML cannot hold."""
    return text if text.isprintable() else _UNSHOWABLE.sub("\ufffd", text)


def short(value: float) -> str:
    """A coordinate: a tenth of a unit is finer than any screen."""
    return f"{value:.1f}".removesuffix(".0")


def document(root: Element) -> bytes:
    """The file's bytes: UTF-8 HTML."""
    return b"<!DOCTYPE html>\n" + tostring(root, encoding="unicode", method="html").encode() + b"\n"
