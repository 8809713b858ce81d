"""A rep on its whole way: firmware, virtual radio, link, store, server, a client on the page's stream."""

import asyncio
import contextlib
import json
import time

import httpx

from brakebeat.coach.choice import Choice, SetPlan
from brakebeat.coach.document import session_document
from brakebeat.coach.keeper import Keeper
from brakebeat.coach.runner import run_session
from brakebeat.coach.session import CoachSession
from brakebeat.formats.recording import read_recording
from brakebeat.link import Wanted
from brakebeat.page.hub import Hub
from brakebeat.page.screen import PageScreen
from brakebeat.page.server import page
from brakebeat.samples import find
from brakebeat.store import open_store
from brakebeat.store.queries import sets
from brakebeat.virtual import virtual_rig


async def states(address):
    """What a browser would get, until the stream ends."""
    async with (
        httpx.AsyncClient(timeout=60, trust_env=False) as client,
        client.stream("GET", address) as answer,
    ):
        async for line in answer.aiter_lines():
            if line.startswith("data: "):
                yield json.loads(line.removeprefix("data: "))


async def test_a_rep_appears_on_the_page_and_is_in_the_store(tmp_path):
    recording = read_recording(find("late"))
    choice = Choice("Mara <i>Quill</i>", "squat", recording.rig, SetPlan(reps=6))
    session = CoachSession(choice)
    hub = Hub(lambda: session_document(session, time.time()))
    with open_store(tmp_path / "log") as store:
        async with page(hub, port=0) as address, virtual_rig(recording, speed=20.0) as rig:
            shown = states(address + "events")
            assert (await anext(shown))["stage"] == "ready"
            running = asyncio.create_task(
                run_session(
                    session,
                    Keeper(store, choice),
                    [PageScreen(hub)],
                    Wanted(name=rig.name),
                    scan_s=10.0,
                    over=lambda reps: False,
                )
            )
            seen = []
            async for state in shown:
                seen.append(state)
                assert not running.done(), running.exception()
                if state["set"] and state["set"]["counting"] == 6:
                    break
            running.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await running
            await shown.aclose()
        (kept,) = sets(store)
    last = seen[-1]
    assert last["athlete"] == "Mara <i>Quill</i>"
    assert any(state["live"] and state["live"]["phase"] == "concentric" for state in seen)
    assert [rep["index"] for rep in last["set"]["reps"]] == [rep.rep.index for rep in kept.reps]
    # The store keeps 15 digits.
    for mine, theirs in zip(last["set"]["reps"], kept.reps, strict=True):
        assert abs(mine["peak_rad_s"] - theirs.rep.peak_rad_s) < 1e-9
    assert last["set"]["momentum"] == 2
