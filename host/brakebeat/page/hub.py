"""Hands the newest state to every open page."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncGenerator, Callable
from typing import Any

# Some things change by time alone (a set is over, once the wheel has stood for long enough).
HEARTBEAT_S = 2.0


class Hub:
    """``state``: makes the document as it is now. A page that is slow skips states, it never piles them up."""

    def __init__(self, state: Callable[[], dict[str, Any]], heartbeat_s: float = HEARTBEAT_S) -> None:
        self.state = state
        self._heartbeat_s = heartbeat_s
        self._number = 0
        self._news = asyncio.Event()
        self.closed = False

    def changed(self) -> None:
        """The state is another one: tell everybody."""
        self._number += 1
        self._news.set()
        # Who waits has the old event, who comes later the new one.
        self._news = asyncio.Event()

    def close(self) -> None:
        """Let every page go."""
        self.closed = True
        self.changed()

    async def messages(self) -> AsyncGenerator[str, None]:
        """Server-sent events (HTML Living Standard, section 9.2): the state now, and after each change."""
        seen = -1
        while not self.closed:
            news = self._news
            if seen == self._number:
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(news.wait(), self._heartbeat_s)
                if self.closed:
                    return
            seen = self._number
            yield f"id: {seen}\ndata: {json.dumps(self.state(), allow_nan=False)}\n\n"
