"""A page in a browser, with all that it complains of and asks for."""

import contextlib
from dataclasses import dataclass, field

from axe_playwright_python.async_playwright import Axe

# CSS pixels: a phone held upright, a screen on the wall.
PHONE, WALL = (390, 844), (1920, 1080)
LOOKS = [(scheme, size) for scheme in ("light", "dark") for size in (PHONE, WALL)]
LOOK_NAMES = [f"{scheme}-{size[0]}" for scheme, size in LOOKS]


@dataclass
class Visit:
    """``page`` is Playwright's; ``complaints`` are errors and warnings of the console, ``asked`` the addresses."""

    page: object
    complaints: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    async def faults(self):
        """What axe-core finds, by rule: contrast, labels, names, roles, headings, tables, languages …"""
        found = await Axe().run(self.page)
        return {each["id"]: [node["html"] for node in each["nodes"]] for each in found.response["violations"]}

    async def too_wide_px(self):
        """By how much the page is wider than the window."""
        return await self.page.evaluate("document.documentElement.scrollWidth - innerWidth")

    async def text(self, name):
        return await self.page.locator(f"#{name}").text_content()

    async def rows(self, table):
        """A table's cells as text."""
        script = "rows => rows.map(row => [...row.cells].map(cell => cell.textContent))"
        return await self.page.locator(f"{table} tbody tr").evaluate_all(script)


@contextlib.asynccontextmanager
async def visit(browser, address, scheme="light", size=PHONE, **options):
    """The page at ``address`` while this is open; ``options`` as Playwright's ``new_context``."""
    window = {"width": size[0], "height": size[1]}
    context = await browser.new_context(color_scheme=scheme, viewport=window, **options)
    seen = Visit(await context.new_page())
    seen.page.on(
        "console",
        lambda said: seen.complaints.append(said.text) if said.type in ("error", "warning") else None,
    )
    seen.page.on("pageerror", lambda error: seen.complaints.append(str(error)))
    seen.page.on("request", lambda request: seen.asked.append(request.url))
    try:
        await seen.page.goto(address)
        yield seen
    finally:
        await context.close()
