"""Runs on the VM or CPython: one scenario of the stand-in `bluetooth` module, its findings printed as JSON.

Arguments: firmware folder (unused), folder of the stand-in, port, scenario.
"""

import sys

sys.path.insert(0, sys.argv[2])
import asyncio
import json

import bluetooth

FLAGS = (bluetooth.FLAG_READ | bluetooth.FLAG_WRITE, bluetooth.FLAG_NOTIFY)
SERVICE = "f2af3db3-6752-4857-a6c0-3ebda55062b3"


def say(text):
    print(text)
    if hasattr(sys.stdout, "flush"):
        sys.stdout.flush()


def refused(function, *arguments, **named):
    """The errno (or the kind of error) with which a call is refused; 0 if it is not."""
    try:
        function(*arguments, **named)
    except OSError as error:
        return error.args[0]
    except ValueError:
        return "ValueError"
    return 0


async def calls(ble, found):
    """What needs no host."""
    found["same"] = bluetooth.BLE() is ble
    found["too_long"] = refused(ble.gap_advertise, 100000, adv_data=bytes(32))
    found["just_fits"] = refused(ble.gap_advertise, 100000, adv_data=bytes(31), resp_data=bytes(31))
    found["response_too_long"] = refused(ble.gap_advertise, 100000, resp_data=bytes(32))
    found["unknown_handle"] = refused(ble.gatts_read, 99)
    found["unknown_setting"] = refused(ble.config, volume=3)
    found["mac"] = list(ble.config("mac")[1])
    found["uuid"] = bytes(bluetooth.UUID(SERVICE))[0]
    found["bad_uuid"] = refused(bluetooth.UUID, "12")
    found["handles"] = register(ble)
    handle = found["handles"][0]
    ble.gatts_write(handle, bytes(300))
    found["local_write_grows"] = len(ble.gatts_read(handle))
    found["not_connected"] = refused(ble.gatts_notify, 64, found["handles"][1], b"x")
    ble.active(False)
    found["inactive"] = refused(ble.gap_advertise, 100000)


def register(ble):
    rows = ((bluetooth.UUID(0x2A26), FLAGS[0]), (bluetooth.UUID(SERVICE.replace("3db3", "3db4")), FLAGS[1]))
    return list(ble.gatts_register_services(((bluetooth.UUID(SERVICE), rows),))[0])


class Host:
    """Notes what the radio tells; keeps an address longer than it may."""

    def __init__(self, ble):
        self.events = []
        self.connection = None
        self.kept = None
        self.inside = None
        ble.irq(self.on_event)

    def on_event(self, event, data):
        self.events.append(event)
        if event == 1:
            self.connection = data[0]
            self.kept = data[2]
            self.inside = list(data[2])

    async def until(self, event):
        while event not in self.events:
            await asyncio.sleep(0.002)
        self.events.remove(event)


async def with_host(ble, found):
    """What a host does to us: connects, writes three times, gets lost, comes again, writes, is shown out."""
    host = Host(ble)
    readable, notifying = register(ble)
    readable, notifying = register(ble)
    ble.gap_advertise(20000, adv_data=b"\x02\x01\x06", resp_data=b"\x03\x09ab")
    await host.until(1)
    found["address_inside"] = host.inside
    found["address_after"] = list(host.kept)
    await host.until(3)
    found["cut_to"] = len(ble.gatts_read(readable))
    ble.gatts_set_buffer(readable, 100, True)
    say("board: go on")
    await host.until(3)
    await host.until(3)
    found["appended"] = list(ble.gatts_read(readable))
    found["emptied"] = len(ble.gatts_read(readable))
    # Only who has subscribed hears of an update; the host subscribes when it reads this, then writes.
    ble.gatts_write(notifying, b"unheard", True)
    ble.gatts_write(readable, b"subscribe now")
    await host.until(3)
    ble.gatts_write(notifying, b"update", True)
    ble.gatts_indicate(host.connection, notifying, b"indicated")
    await host.until(20)
    sent = 0
    while not refused(ble.gatts_notify, host.connection, notifying, bytes([sent])):
        sent += 1
    found["queue"] = sent
    found["full"] = refused(ble.gatts_notify, host.connection, notifying, b"x")
    while refused(ble.gatts_notify, host.connection, notifying, b"again"):
        await asyncio.sleep(0.002)
    await host.until(2)
    found["gone"] = refused(ble.gatts_notify, host.connection, notifying, b"x")
    # No data: what was advertised last is advertised again.
    ble.gap_advertise(20000)
    await host.until(3)
    found["kicked"] = ble.gap_disconnect(host.connection)
    await host.until(2)
    found["kicked_again"] = ble.gap_disconnect(host.connection)


async def main():
    found = {}
    before = refused(bluetooth.BLE().gap_advertise, 100000)
    bluetooth.air = ("127.0.0.1", int(sys.argv[3]), b"\xf0\r\x00\x00\xb0\x07")
    ble = bluetooth.BLE()
    ble.active(True)
    found["before"] = before
    await {"calls": calls, "with_host": with_host}[sys.argv[4]](ble, found)
    say("found " + json.dumps(found))


asyncio.run(main())
