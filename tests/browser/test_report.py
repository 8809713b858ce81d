"""Reports in a real browser without any network: right, quiet, readable, by keyboard."""

import pytest

from brakebeat.report import athlete_report, session_report
from brakebeat.simulate import default_recording
from brakebeat.store import open_store
from brakebeat.store.catalog import named
from brakebeat.store.changes import add_note
from brakebeat.store.computing import import_recording
from brakebeat.store.queries import sets
from tests.report.weeks import FIRST, keep_plan, six_weeks

from .visit import LOOK_NAMES, LOOKS, visit

# The browser is one for the whole file.
pytestmark = pytest.mark.asyncio(loop_scope="module")
NAME = "Mara <b>Quill</b> & Co"


@pytest.fixture(scope="module")
def reports(tmp_path_factory):
    """(store's sets by session, {report: address}) of six weeks, the newest session with curves."""
    folder = tmp_path_factory.mktemp("reports")
    with open_store(folder / "log") as store:
        athlete = six_weeks(store, NAME)
        keep_plan(store, athlete)
        recording, _ = default_recording(41, reps=5, late=(3,))
        last = import_recording(
            store, recording, athlete=NAME, exercise="squat", started=FIRST.replace(month=10, day=19)
        )
        add_note(store, "session", last.session_id, "<script>alert(1)</script> a long noteworthy day")
        addresses = {}
        contents = {
            "athlete": athlete_report(store, named(store, "athlete", NAME)),
            "session": session_report(store, last.session_id),
        }
        for kind, content in contents.items():
            (folder / f"{kind}.html").write_bytes(content)
            addresses[kind] = (folder / f"{kind}.html").as_uri()
        yield [one for one in sets(store) if one.session_id == last.session_id], addresses


@pytest.mark.parametrize(("scheme", "size"), LOOKS, ids=LOOK_NAMES)
@pytest.mark.parametrize("kind", ["athlete", "session"])
async def test_contrast_labels_width_and_quiet(kind, scheme, size, reports, browser):
    _, addresses = reports
    async with visit(browser, addresses[kind], scheme, size, offline=True) as seen:
        await seen.page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
        assert await seen.faults() == {}
        assert await seen.too_wide_px() <= 0
        assert seen.complaints == []
        assert seen.asked == [addresses[kind]]


async def test_its_numbers_are_the_store_s(reports, browser):
    (kept,), addresses = reports
    async with visit(browser, addresses["session"]) as seen:
        rows = await seen.rows("table.reps")
        assert [row[0].strip("()") for row in rows[: len(kept.reps)]] == [
            str(rep.number) for rep in kept.reps
        ]
        headings = await seen.page.locator("table.reps thead th").evaluate_all(
            "cells => cells.map(cell => cell.dataset.figure)"
        )
        for figure, value, digits in (
            ("peak_rad_s", lambda rep: rep.peak_rad_s, 2),
            ("concentric.mean_power_w", lambda rep: rep.concentric.mean_power_w, 0),
            ("eccentric.peak_power_w", lambda rep: rep.eccentric.peak_power_w, 0),
            ("brake_fraction", lambda rep: rep.brake_fraction, 2),
        ):
            place = headings.index(figure)
            expected = [f"{value(rep.rep):.{digits}f}" for rep in kept.reps]
            assert [row[place].strip("()") for row in rows[: len(kept.reps)]] == expected, figure


async def test_pictures_are_drawn_and_named(reports, browser):
    _, addresses = reports
    async with visit(browser, addresses["session"]) as seen:
        pictures = seen.page.get_by_role("img")
        assert await pictures.count() >= 5
        for number in range(await pictures.count()):
            box = await pictures.nth(number).bounding_box()
            assert box["width"] > 200
            assert box["height"] > 100


async def test_what_was_written_by_hand_stays_text(reports, browser):
    _, addresses = reports
    async with visit(browser, addresses["session"]) as seen:
        assert await seen.page.get_by_text("<script>alert(1)</script> a long").count() == 1
        assert await seen.page.locator("script").count() == 0
        assert NAME in await seen.page.locator("h1").text_content()


async def test_by_keyboard_alone(reports, browser):
    _, addresses = reports
    async with visit(browser, addresses["athlete"]) as seen:
        await seen.page.keyboard.press("Tab")
        assert await seen.page.evaluate("document.activeElement.className") == "skip"
        reached = set()
        for _ in range(60):
            await seen.page.keyboard.press("Tab")
            reached.add(await seen.page.evaluate("document.activeElement.tagName"))
        assert "SUMMARY" in reached
        await seen.page.locator("summary").first.focus()
        await seen.page.keyboard.press("Enter")
        assert await seen.page.locator("details").first.evaluate("each => each.open")


async def test_cautions_are_to_be_seen(reports, browser):
    _, addresses = reports
    for address in addresses.values():
        async with visit(browser, address) as seen:
            for words in ("Nothing here is medical advice", "A spinning wheel and a taut strap can injure"):
                assert await seen.page.get_by_text(words).first.is_visible()


async def test_on_paper_no_table_leaves_its_frame(reports, browser):
    _, addresses = reports
    wider = """Array.from(document.querySelectorAll('.scroll'))
        .filter(frame => frame.firstElementChild.scrollWidth > frame.clientWidth)
        .map(frame => frame.getAttribute('aria-label'))"""
    for address in addresses.values():
        # What browsers lay an A4 sheet out at, shrunk, where a page needs the room.
        async with visit(browser, address, size=(1000, 1400)) as seen:
            await seen.page.emulate_media(media="print")
            assert await seen.page.evaluate(wider) == []


async def test_a_day_is_not_broken_on_a_phone(reports, browser):
    _, addresses = reports
    async with visit(browser, addresses["athlete"]) as seen:
        lines = await seen.page.locator("td time").evaluate_all(
            "days => days.map(day => day.getClientRects().length)"
        )
        assert lines
        assert set(lines) == {1}
