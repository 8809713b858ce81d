"""Chromium without a window, by its DevTools protocol."""

import asyncio
import contextlib
import itertools
import json
import shutil

from websockets.asyncio.client import connect

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)


class Tab:
    """One page: evaluates, and remembers errors and requests."""

    def __init__(self, socket):
        self._socket, self._numbers, self._answers = socket, itertools.count(1), {}
        self.errors, self.requests = [], []

    async def listen(self):
        async for text in self._socket:
            message = json.loads(text)
            method, params = message.get("method"), message.get("params", {})
            if "id" in message:
                self._answers.pop(message["id"]).set_result(message)
            elif method == "Runtime.exceptionThrown":
                self.errors.append(params["exceptionDetails"])
            elif method == "Log.entryAdded" and params["entry"]["level"] in ("error", "warning"):
                self.errors.append(params["entry"])
            elif method == "Network.requestWillBeSent":
                self.requests.append(params["request"]["url"])

    async def call(self, method, **params):
        number = next(self._numbers)
        self._answers[number] = asyncio.get_running_loop().create_future()
        await self._socket.send(json.dumps({"id": number, "method": method, "params": params}))
        return (await self._answers[number])["result"]

    async def value(self, script):
        return (await self.call("Runtime.evaluate", expression=script, returnByValue=True))["result"].get(
            "value"
        )

    async def until(self, script, wanted):
        """Wait until the script gives what is wanted; as long as the machine needs."""
        while await self.value(script) != wanted:
            await asyncio.sleep(0.02)


@contextlib.asynccontextmanager
async def tab(folder, address):
    """A tab that has gone to ``address``."""
    process = await asyncio.create_subprocess_exec(
        CHROMIUM,
        *("--headless=new", "--no-sandbox", "--disable-gpu", "--remote-debugging-port=0", "--no-first-run"),
        f"--user-data-dir={folder}",
        "about:blank",
        stdout=asyncio.subprocess.DEVNULL,
        stderr=asyncio.subprocess.DEVNULL,
    )
    try:
        port_file = folder / "DevToolsActivePort"
        while not port_file.exists() or port_file.read_text().count("\n") < 1:
            assert process.returncode is None, "the browser did not start"
            await asyncio.sleep(0.05)
        port = port_file.read_text().split()[0]
        async with connect(await _page_address(port), proxy=None, max_size=None) as socket:
            shown = Tab(socket)
            listener = asyncio.create_task(shown.listen())
            for domain in ("Runtime", "Log", "Network", "Page"):
                await shown.call(f"{domain}.enable")
            await shown.call("Page.navigate", url=address)
            yield shown
            listener.cancel()
    finally:
        with contextlib.suppress(ProcessLookupError):
            process.kill()
        await process.wait()


async def _page_address(port):
    import httpx

    async with httpx.AsyncClient(trust_env=False) as client:
        while True:
            targets = (await client.get(f"http://127.0.0.1:{port}/json/list")).json()
            for target in targets:
                if target["type"] == "page":
                    return target["webSocketDebuggerUrl"]
            await asyncio.sleep(0.05)
