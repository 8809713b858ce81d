"""A headless Chromium of the system's, driven by Playwright; where there is none, these tests are skipped."""

import shutil

import pytest
import pytest_asyncio

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def browser():
    """One browser a file; its tests share an event loop for that (``loop_scope``)."""
    if CHROMIUM is None:
        pytest.skip("no Chromium here (apt-get install chromium)")
    playwright = pytest.importorskip("playwright.async_api")
    async with playwright.async_playwright() as driver:
        # As root, in a container, Chromium cannot put itself into a sandbox.
        opened = await driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield opened
        await opened.close()
