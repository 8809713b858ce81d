"""How long a notification takes to an open page: ``python -m brakebeat.page.delay [sample] [speed]``.

From the event that the link makes of a notification, before the store, to the client that has read the state from the
page's stream; both in this process, over a real socket. Prints, decides nothing. A browser's drawing is not in it.
"""

from __future__ import annotations

import argparse
import asyncio
import http.client
import statistics
import tempfile
import threading
import time
from pathlib import Path
from urllib.parse import urlsplit

from brakebeat.coach.choice import Choice, SetPlan
from brakebeat.coach.document import session_document
from brakebeat.coach.keeper import Keeper
from brakebeat.coach.runner import run_session
from brakebeat.coach.session import CoachSession, Placed
from brakebeat.formats.recording import read_recording
from brakebeat.link import Event, LiveArrived, RepArrived, Wanted
from brakebeat.page.hub import Hub
from brakebeat.page.screen import PageScreen
from brakebeat.page.server import page
from brakebeat.samples import resolve
from brakebeat.store import open_store
from brakebeat.virtual import virtual_rig


class _Stamping(CoachSession):
    """Notes when each event came and gives the states that follow from it its number."""

    came_s: list[tuple[bool, float]]

    def take(self, event: Event, now_s: float) -> Placed | None:
        if isinstance(event, RepArrived | LiveArrived):
            self.came_s.append((isinstance(event, RepArrived), time.perf_counter()))
        return super().take(event, now_s)


def _read(address: str, delays: dict[int, float]) -> None:
    """Read the stream, and note when the state after each event was there first."""
    where = urlsplit(address)
    connection = http.client.HTTPConnection(where.hostname or "", where.port, timeout=30)
    connection.request("GET", "/events")
    answer = connection.getresponse()
    while line := answer.readline():
        if line.startswith(b'data: {"events": '):
            delays.setdefault(int(line[17:].split(b",")[0]), time.perf_counter())
    connection.close()


async def measure(sample: str, speed: float) -> str:
    """Follow a recording to its end; the delays in words."""
    recording = read_recording(resolve(sample))
    choice = Choice("nobody", "none", recording.rig, SetPlan())
    session = _Stamping(choice)
    session.came_s = []
    hub = Hub(lambda: {"events": len(session.came_s), **session_document(session, time.time())})
    seen: dict[int, float] = {}
    with tempfile.TemporaryDirectory() as folder, open_store(Path(folder) / "log") as store:
        async with virtual_rig(recording, speed=speed) as rig:
            async with page(hub, port=0) as address:
                reader = threading.Thread(target=_read, args=(address, seen), daemon=True)
                reader.start()
                await run_session(
                    session,
                    Keeper(store, choice),
                    [PageScreen(hub)],
                    Wanted(name=rig.name),
                    scan_s=10.0,
                    over=lambda reps: rig.board.reps_played == reps,
                )
                await asyncio.sleep(0.5)
            await asyncio.to_thread(reader.join, 5.0)
    return "\n".join(
        _words(name, _delays_ms(session.came_s, seen, reps))
        for name, reps in (("reps", True), ("live", False))
    )


def _delays_ms(came: list[tuple[bool, float]], seen: dict[int, float], reps: bool) -> list[float]:
    """To the first state that has the event in it: a state may hold several."""
    delays = []
    for number, (is_rep, at_s) in enumerate(came, 1):
        first = min((when for other, when in seen.items() if other >= number), default=None)
        if is_rep == reps and first is not None:
            delays.append(1000 * (first - at_s))
    return delays


def _words(name: str, delays_ms: list[float]) -> str:
    if not delays_ms:
        return f"{name}: none arrived"
    most = max(delays_ms)
    late = sum(delay > 200 for delay in delays_ms)
    middle = statistics.median(delays_ms)
    return (
        f"{name}: {len(delays_ms)} events, median {middle:.1f} ms, longest {most:.1f} ms, {late} over 200 ms"
    )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m brakebeat.page.delay", description=__doc__)
    parser.add_argument("file", nargs="?", default="sample:late", help="the recording played (sample:late)")
    parser.add_argument("speed", nargs="?", type=float, default=1.0, help="so many times as fast (1)")
    options = parser.parse_args()
    print(asyncio.run(measure(options.file, options.speed)))
