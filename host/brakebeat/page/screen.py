"""Lets the open pages know that the session has changed."""

from __future__ import annotations

from brakebeat.coach.session import Placed
from brakebeat.link import EdgesArrived, Event, StatusArrived, TimeTold
from brakebeat.page.hub import Hub

# These change nothing that a page shows.
_QUIET = (EdgesArrived, StatusArrived, TimeTold)


class PageScreen:
    """A coach screen whose surface is every open page."""

    def __init__(self, hub: Hub) -> None:
        self._hub = hub

    def show(self, event: Event, placed: Placed | None) -> None:
        """Tell them."""
        if not isinstance(event, _QUIET):
            self._hub.changed()
