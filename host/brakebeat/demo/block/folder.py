"""Where the block's files go."""

from __future__ import annotations

from pathlib import Path

from brakebeat.demo.block.people import PEOPLE
from brakebeat.demo.folder import Folder


class BlockFolder(Folder):
    """The block's files in one directory; claimed and written like the other demo's."""

    @property
    def store(self) -> Path:
        """The filled store."""
        return self.path / "block.brakebeat"

    @property
    def next_set(self) -> Path:
        """Pulses of one more set, for the page."""
        return self.path / "next-set.csv"

    def report(self, name: str) -> Path:
        """An athlete's report (HTML)."""
        return self.path / f"{name.lower()}.html"

    def calendar(self, name: str) -> Path:
        """An athlete's plan (iCalendar)."""
        return self.path / f"{name.lower()}.ics"

    def contents(self) -> dict[Path, str]:
        """The files and what each is."""
        mine = {
            self.store: f"ten weeks of training; try `brakebeat log --store {self.store.name}`",
            self.next_set: "pulses of one more set; `brakebeat serve --virtual` plays it",
        }
        for person in PEOPLE:
            mine[self.report(person.name)] = f"{person.name}'s report, for a browser"
            mine[self.calendar(person.name)] = f"{person.name}'s plan, for a calendar"
        return mine
