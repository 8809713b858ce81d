"""The page in a real browser: live, right, by keyboard, quiet, and asking nobody else."""

import asyncio

import pytest

from brakebeat.coach.document import session_document
from brakebeat.coach.session import CoachSession
from brakebeat.page.hub import Hub
from brakebeat.page.server import page
from tests.coach.events import BOARD_US, WALL_US, arrived, choice, connected

from .browser import CHROMIUM, tab

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here")
NAME = "<img src=x onerror=alert(1)> & Co"


def text(name):
    return f"document.getElementById('{name}').textContent"


async def test_a_set_appears_rep_by_rep(tmp_path):
    session = CoachSession(choice(NAME, reps=4))
    now_s = WALL_US / 1e6
    hub = Hub(lambda: session_document(session, now_s + 1))

    def happens(event):
        session.take(event, now_s)
        hub.changed()

    async with (
        asyncio.timeout(120),
        page(hub, port=0, token="lantern-37") as address,
        tab(tmp_path, address) as shown,
    ):
        await shown.until(text("verdict"), "▸ Set 1 of 4")
        assert await shown.value("location.search") == ""
        happens(connected())
        happens(arrived(0, peak=57.6, momentum=True))
        await shown.until(text("rep"), "m1")
        happens(arrived(1, BOARD_US + 3_000_000, peak=77.14, power=446.4))
        await shown.until(text("rep"), "1")
        assert await shown.value(text("speed")) == "77.1 rad/s"
        assert await shown.value(text("power")) == "446 W"
        assert await shown.value(text("brake")) == "● in time 0.30"
        assert "rep 1" in await shown.value(text("said"))
        happens(arrived(2, BOARD_US + 5_000_000, peak=66.0, power=300.0))
        await shown.until(text("verdict"), "■ Effort dropped: brake, end the set")
        rows = "[...document.querySelectorAll('tbody tr')].map(row => row.cells[1].textContent)"
        assert await shown.value(rows) == ["66.0", "77.1", "57.6"]
        assert await shown.value(text("athlete")) == NAME
        assert await shown.value("document.images.length") == 0
        await shown.value("document.getElementById('scheme').focus()")
        for kind in ("rawKeyDown", "char", "keyUp"):
            await shown.call(
                "Input.dispatchKeyEvent",
                type=kind,
                key="Enter",
                code="Enter",
                windowsVirtualKeyCode=13,
                text="\r",
            )
        assert await shown.value("document.documentElement.dataset.scheme") == "light"
        assert shown.errors == []
        origin = address.partition("/?")[0]
        assert all(url.startswith(origin) or url == "about:blank" for url in shown.requests)
        assert len(shown.requests) >= 4
