"""Follows boards, shows what they say, and holds each rep against the reference where that is asked for."""

from __future__ import annotations

from collections.abc import AsyncGenerator, Callable, Sequence
from typing import Any

from brakebeat.check import load_limits
from brakebeat.link import Connected, EdgesArrived, Finder, RepArrived, Wanted, follow
from brakebeat.link.several import Ended, merged
from brakebeat.watch.board_view import BoardView
from brakebeat.watch.live_check import LiveCheck, RepChecked
from brakebeat.watch.rig_header import KnownRig, board_header, other_file
from brakebeat.watch.screens import Screen, Shown

RigsOf = Callable[[Connected], Sequence[KnownRig]]


class Watcher:
    """``wanted`` boards, shown on a screen.

    rigs_of: gives the rigs of which one may be a connected board's, for the reference; None: no check.
    """

    def __init__(self, wanted: Sequence[Wanted], rigs_of: RigsOf | None) -> None:
        self.views = [BoardView(str(one)) for one in wanted]
        self._wanted = wanted
        self._rigs_of = rigs_of
        self._checks: list[LiveCheck] = []

    @property
    def reps(self) -> int:
        """Reps that have come so far, from all boards."""
        return sum(view.reps for view in self.views)

    async def run(self, screen: Screen, over: Callable[[int], bool], scan_s: float) -> None:
        """Show events until ``over(reps)`` says that it is enough.

        Raises:
            DeviceError: every board has failed.
        """
        finder = Finder()
        checked = self._rigs_of is not None
        if checked:
            limits = load_limits()
            self._checks = [LiveCheck(limits) for _ in self._wanted]
        streams: list[AsyncGenerator[Any, None]] = [
            follow(one, scan_s=scan_s, endless=True, finder=finder, raw=checked) for one in self._wanted
        ]
        streams += [check.results() for check in self._checks]
        events = merged(streams)
        try:
            async for number, event in events:
                if number >= len(self._wanted) and isinstance(event, Ended):
                    # A check has told all that it can.
                    continue
                self._take(number % len(self._wanted), event, screen)
                if over(self.reps):
                    break
        finally:
            await events.aclose()
        await self._last_answers(screen)

    def _take(self, number: int, event: Shown, screen: Screen) -> None:
        view = self.views[number]
        if isinstance(event, RepChecked):
            view.note(event.rep.index, event.words)
        elif isinstance(event, Ended):
            view.end(event.reason)
            for check in self._checks[number : number + 1]:
                check.close()
        else:
            view.take(event)
            if self._checks:
                self._hand_over(self._checks[number], view, event)
        screen.show(event, view)

    def _hand_over(self, check: LiveCheck, view: BoardView, event: Shown) -> None:
        if isinstance(event, Connected) and self._rigs_of is not None:
            rigs = self._rigs_of(event)
            check.header = board_header(event, rigs)
            view.warning = other_file(event, rigs)
        elif isinstance(event, EdgesArrived):
            check.edges(event)
        elif isinstance(event, RepArrived):
            check.rep(event.rep)

    async def _last_answers(self, screen: Screen) -> None:
        for number, check in enumerate(self._checks):
            check.close()
            async for answer in check.results():
                self._take(number, answer, screen)
