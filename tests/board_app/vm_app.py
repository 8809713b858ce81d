"""Runs on the VM or CPython: the board's program in a situation that it must survive.

Arguments: firmware folder, folder of the stand-in `bluetooth`, port, situation, rig file.
"""

import sys

sys.path.insert(0, sys.argv[2])
sys.path.insert(0, sys.argv[1])
import asyncio

import bluetooth

from brakebeat_fw import app, rigfile, sounder

bluetooth.air = ("127.0.0.1", int(sys.argv[3]), b"\xf0\r\x00\x00\xb0\x08")


class BrokenSource:
    """A source that fails now and then, as a detector with a mistake in it would."""

    done = False
    lost = 0

    def __init__(self):
        self.pumped = 0

    def now(self):
        return 1000 * self.pumped

    def pump(self, session):
        self.pumped += 1
        if self.pumped % 50 == 10:
            session.reps.count += 1
            raise ValueError("made to fail")


class FailingBluetooth:
    """A port whose radio does not start."""

    UUID = bluetooth.UUID

    class BLE:
        def irq(self, handler):
            pass

        def active(self, on):
            raise OSError(19)


async def with_broken_source():
    link = (bluetooth.BLE(), bluetooth.UUID)
    board = app.App(rigfile.defaults(), BrokenSource(), sounder.Sounder(), link)
    await board.run()


async def with_broken_radio():
    link = (FailingBluetooth.BLE(), bluetooth.UUID)
    board = app.App(rigfile.defaults(), BrokenSource(), sounder.Sounder(), link)
    print("trouble " + board.trouble)
    task = asyncio.create_task(board.run())
    while board.source.pumped < 200:
        await asyncio.sleep(0.01)
    task.cancel()
    print("pumped")


situation = sys.argv[4]
if situation == "boot":
    app.main(sys.argv[5])
else:
    asyncio.run({"broken_source": with_broken_source, "broken_radio": with_broken_radio}[situation]())
