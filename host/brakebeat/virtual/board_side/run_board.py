"""Runs the firmware's own program on a computer: edges from a recording, the radio a virtual one.

Arguments: the firmware's folder, this one, port, address in hex, rig file, recording, speed, wait or go.
Runs on the MicroPython VM and on CPython alike. Tells its progress in lines on standard output.
"""

import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any
else:
    Any = object


def _say(text: str) -> None:
    print("board: " + text)
    if hasattr(sys.stdout, "flush"):
        sys.stdout.flush()


async def _start_when_heard(asyncio: Any, board: Any, source: Any, wait: bool) -> None:
    """Let the wheel turn as soon as a host listens (or at once)."""
    while wait and not board.radio.listening:
        await asyncio.sleep(0.005)
    source.release()
    _say("playing")
    while not source.ended:
        await asyncio.sleep(0.02)
    board.add_trouble(source.trouble)
    _say(f"played {source.pulses} pulses, {board.session.reps.count} reps")


def _run(
    firmware: str, here: str, port: str, address: str, rig_path: str, recording: str, speed: str, wait: str
) -> None:
    sys.path.insert(0, here)
    sys.path.insert(0, firmware)
    import asyncio
    import binascii

    import bluetooth  # type: ignore[import-not-found]

    from brakebeat_fw import app, region, rigfile, sounder  # type: ignore[import-not-found]
    from brakebeat_fw.playback import PlaybackSource  # type: ignore[import-not-found]

    bluetooth.air = ("127.0.0.1", int(port), binascii.unhexlify(address))
    rig, trouble = rigfile.load(rig_path)
    source = PlaybackSource(recording, float(speed))
    # Beside the rig file, as everything else that outlives a power cut.
    files = rig_path[: rig_path.rfind("/") + 1]
    place = region.FileRegion(files + "journal")

    async def work() -> None:
        link = (bluetooth.BLE(), bluetooth.UUID)
        board = app.App(rig, source, sounder.Sounder(), link, (trouble,), None, files, place)
        _say("ready " + board.radio.name)
        starter = asyncio.create_task(_start_when_heard(asyncio, board, source, wait == "wait"))
        await board.run()
        starter.cancel()

    asyncio.run(work())


_run(*sys.argv[1:])
