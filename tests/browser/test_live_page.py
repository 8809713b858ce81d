"""The live page in a real browser: right, live, quiet, asking nobody else, readable, by keyboard."""

import asyncio
import contextlib
import time

import pytest

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
from tests.coach.events import BOARD_US, WALL_US, arrived, choice, connected, live

from .visit import LOOK_NAMES, LOOKS, WALL, visit

# The browser is one for the whole file.
pytestmark = pytest.mark.asyncio(loop_scope="module")
NAME = "<img src=x onerror=alert(1)> & Co"


class Live:
    """A page that shows what events a test makes happen."""

    def __init__(self, **plan):
        self.session = CoachSession(choice(NAME, **plan))
        self.hub = Hub(lambda: session_document(self.session, WALL_US / 1e6 + 1))

    def happens(self, *events):
        for event in events:
            self.session.take(event, WALL_US / 1e6)
        self.hub.changed()


def a_set(reps=4):
    peaks = (57.6, 69.9, 77.14, 76.3, 66.0)[: reps + 1]
    return [
        arrived(number, BOARD_US + 2_000_000 * (number + 1), peak, 6 * peak, momentum=number < 2)
        for number, peak in enumerate(peaks)
    ]


async def test_each_rep_appears_as_it_comes(browser):
    shown = Live(reps=4)
    async with page(shown.hub, port=0, token="lantern-37") as address, visit(browser, address) as seen:
        await seen.page.get_by_text("▸ Set 1 of 4").wait_for()
        assert "token" not in seen.page.url
        shown.happens(connected(), arrived(0, peak=57.6, momentum=True))
        await seen.page.locator("#rep", has_text="m1").wait_for()
        assert await seen.text("of") == "/2"
        # No rep counts yet: the speed of now stands against the momentum rep's peak, at 57.6 · 1.15 it is full.
        shown.happens(live(speed=30.0))
        await seen.page.get_by_text("30.0 rad/s now").wait_for()
        assert await seen.page.locator("#speed-bar .fill").evaluate("e => e.style.width") == "45.29%"
        shown.happens(live(phase="idle"))
        shown.happens(arrived(1, BOARD_US + 3_000_000, peak=77.14, power=446.4))
        await seen.page.locator("#rep", has_text="1").filter(has_not_text="m").wait_for()
        assert await seen.text("of") == "/4"
        assert await seen.text("speed") == "77.1 rad/s"
        assert await seen.text("power") == "446 W"
        assert await seen.text("brake") == "● in time 0.30"
        assert "rep 1" in await seen.text("said")
        shown.happens(arrived(2, BOARD_US + 5_000_000, peak=66.0, power=300.0))
        await seen.page.get_by_text("■ Effort dropped: brake, end the set").first.wait_for()
        assert [row[1] for row in await seen.rows("#reps")] == ["66.0", "77.1", "57.6"]
        assert await seen.text("athlete") == NAME
        assert await seen.page.evaluate("document.images.length") == 0
        assert seen.complaints == []
        origin = address.partition("?")[0]
        assert len(seen.asked) >= 4
        assert all(url.startswith(origin) for url in seen.asked)


async def test_its_numbers_are_the_store_s(browser, tmp_path):
    """The whole way: firmware, virtual radio, link, store, page."""
    recording = read_recording(find("late"))
    session = CoachSession(Choice("Mara Quill", "squat", recording.rig, SetPlan(reps=6)))
    hub = Hub(lambda: session_document(session, time.time()))
    with open_store(tmp_path / "log") as store:
        async with (
            page(hub, port=0) as address,
            virtual_rig(recording, speed=10.0) as rig,
            visit(browser, address) as seen,
        ):
            running = asyncio.create_task(
                run_session(
                    session,
                    Keeper(store, session.choice),
                    [PageScreen(hub)],
                    Wanted(name=rig.name),
                    scan_s=10.0,
                    over=lambda reps: False,
                )
            )
            await seen.page.locator("#rows tr").nth(7).wait_for(timeout=120_000)
            rows = await seen.rows("#reps")
            assert seen.complaints == []
            running.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await running
        (kept,) = sets(store)
        assert kept.has_edges
    words = {"early": "◀ early", "inside": "● in time", "late": "▶ LATE", "none": "✕ no brake"}
    expected = [
        [
            f"{rep.rep.peak_rad_s:.1f}",
            f"{rep.rep.concentric.mean_power_w:.0f}",
            f"{words[rep.rep.brake_timing]} {rep.rep.brake_fraction:.2f}",
        ]
        for rep in kept.reps
    ]
    assert [row[1:4] for row in reversed(rows)] == expected


@pytest.mark.parametrize(("scheme", "size"), LOOKS, ids=LOOK_NAMES)
@pytest.mark.parametrize("stage", ["before", "pulling", "stop", "rest", "away"])
async def test_contrast_labels_and_width(stage, scheme, size, browser):
    shown = Live(reps=8 if stage != "rest" else 3)
    async with page(shown.hub, port=0) as address, visit(browser, address, scheme, size) as seen:
        if stage != "before":
            shown.happens(connected(magnets=7), *a_set(3 if stage == "pulling" else 4))
            await seen.page.locator("#rows tr").first.wait_for()
        if stage == "pulling":
            shown.happens(live(speed=41.2))
            await seen.page.get_by_text("41.2 rad/s now").wait_for()
        if stage == "away":
            shown.hub.close()
            await seen.page.get_by_text("figures below are old").first.wait_for()
        assert await seen.faults() == {}
        assert await seen.too_wide_px() <= 0


async def test_by_keyboard_alone(browser):
    shown = Live(reps=8)
    async with page(shown.hub, port=0) as address, visit(browser, address) as seen:
        shown.happens(connected(), *a_set())
        await seen.page.locator("#rows tr").first.wait_for()
        reached = []
        for _ in range(3):
            await seen.page.keyboard.press("Tab")
            reached.append(
                await seen.page.evaluate("document.activeElement.id || document.activeElement.className")
            )
            outline = await seen.page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
            assert outline != "none" or reached[-1] == "skip"
        assert "scheme" in reached
        assert "reps" in reached
        await seen.page.locator("#scheme").focus()
        for scheme in ("light", "dark", None, "light"):
            await seen.page.keyboard.press("Enter")
            assert await seen.page.evaluate("document.documentElement.dataset.scheme ?? null") == scheme
        await seen.page.reload()
        assert await seen.page.evaluate("document.documentElement.dataset.scheme") == "light"
        assert await seen.faults() == {}


@pytest.mark.parametrize("scheme", ["light", "dark"])
async def test_the_wall_shows_what_counts_without_scrolling_and_large(scheme, browser):
    # Letters of 1/200 of the distance are read with ease (rule of thumb, no source): 20 mm at 4 m. A wall screen
    # of 1.2 m width shows 1920 px on it, so that they need 32 px.
    shown = Live(reps=8)
    async with page(shown.hub, port=0) as address, visit(browser, address, scheme, WALL) as seen:
        shown.happens(connected(), *a_set())
        await seen.page.locator("#rows tr").first.wait_for()
        for name in ("rep", "clock", "speed", "power", "brake", "verdict", "below"):
            box = await seen.page.locator(f"#{name}").bounding_box()
            size_px = await seen.page.evaluate(
                "name => parseFloat(getComputedStyle(document.getElementById(name)).fontSize)", name
            )
            assert box["y"] + box["height"] <= WALL[1], name
            assert size_px >= 32, name
        caution = await seen.page.locator("#caution").bounding_box()
        assert caution["y"] + caution["height"] <= WALL[1]
