"""A report as a program reads it back: tables by caption, text, tags and their attributes."""

from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "link", "br", "hr", "img", "input"}


@dataclass
class Table:
    """A table's headings (their data-figure, or ""), and its rows as text."""

    caption: str = ""
    figures: list[str] = field(default_factory=list)
    rows: list[list[str]] = field(default_factory=list)

    def column(self, figure: str) -> list[str]:
        return [row[self.figures.index(figure)] for row in self.rows]


class Page(HTMLParser):
    """All that a test asks of a page; it fails on tags that do not nest."""

    def __init__(self, content: bytes) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.tables: list[Table] = []
        self.text = ""
        self._open: list[str] = []
        self.feed(content.decode("utf-8"))
        self.close()
        assert self._open == [], f"left open: {self._open}"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = dict(attrs)
        self.tags.append((tag, values))
        if tag not in VOID:
            self._open.append(tag)
        if tag == "table":
            self.tables.append(Table())
        elif tag == "tr":
            self.tables[-1].rows.append([])
        elif tag in ("th", "td"):
            self.tables[-1].rows[-1].append("")
            if values.get("scope") == "col":
                self.tables[-1].figures.append(values.get("data-figure") or "")

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag
        if tag == "thead":
            self.tables[-1].rows.clear()

    def handle_data(self, data: str) -> None:
        if "style" in self._open:
            return
        self.text += data
        if "caption" in self._open:
            self.tables[-1].caption += data
        elif "th" in self._open or "td" in self._open:
            self.tables[-1].rows[-1][-1] += data

    def table(self, caption: str) -> Table:
        """The one table whose caption begins so."""
        (found,) = [each for each in self.tables if each.caption.startswith(caption)]
        return found

    def attributes(self, name: str) -> list[str]:
        return [values[name] or "" for _, values in self.tags if name in values]
