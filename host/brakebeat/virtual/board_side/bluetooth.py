"""A `bluetooth` module for a computer: MicroPython's BLE peripheral API, carried to a virtual radio over TCP.

It keeps to what boards do: one BLE object, 31 bytes of advertising data, 20 byte characteristics unless told
otherwise, values cut in silence, a queue of notifications that fills up (OSError ENOMEM), addresses in events
that are valid only inside the handler, writes that the client is told of before the firmware is. Pairing is "just
works"; bonds live with the firmware, which is handed their secrets and asked for them. It offers less than a board
(no central role, no passkeys), never more.

Set ``air`` before the first BLE().active(True): (host, port, address of 6 bytes).
"""

import asyncio
import binascii
import json
import select
import socket
import struct

# Annotations are for readers and checkers; MicroPython has no `typing`.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any
else:
    Any = object

FLAG_READ = 0x0002
FLAG_WRITE_NO_RESPONSE = 0x0004
FLAG_WRITE = 0x0008
FLAG_NOTIFY = 0x0010
FLAG_INDICATE = 0x0020

_ENODEV = 19
_EINVAL = 22
_ENOMEM = 12
_ENOTCONN = 107
# EAGAIN on Linux and on macOS.
_TRY_AGAIN = (11, 35)

_IRQ_CENTRAL_CONNECT = 1
_IRQ_CENTRAL_DISCONNECT = 2
_IRQ_GATTS_WRITE = 3
_IRQ_GATTS_INDICATE_DONE = 20
_IRQ_MTU_EXCHANGED = 21
_IRQ_ENCRYPTION_UPDATE = 28
_IRQ_GET_SECRET = 29
_IRQ_SET_SECRET = 30

# Input and output that a board has for pairing: none.
_NO_INPUT_NO_OUTPUT = 3

_ADVERTISING_ROOM = 31
_DEFAULT_VALUE_ROOM = 20
_FIRST_HANDLE = 12

air: Any = None


class UUID:
    """A 16-bit number or a 128-bit string, as the real module has it; as bytes it is little-endian."""

    def __init__(self, value: Any) -> None:
        self._bytes: bytes
        if isinstance(value, UUID):
            self._bytes = value._bytes
        elif isinstance(value, int):
            if not 0 <= value <= 0xFFFF:
                raise ValueError("UUID: 16 bits only")
            self._bytes = struct.pack("<H", value)
        elif isinstance(value, str):
            digits = value.replace("-", "")
            if len(digits) != 32:
                raise ValueError("UUID: 32 hexadecimal digits are needed")
            self._bytes = bytes(reversed(binascii.unhexlify(digits)))
        else:
            self._bytes = bytes(value)

    def __iter__(self) -> Any:
        return iter(self._bytes)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, UUID) and other._bytes == self._bytes

    def __hash__(self) -> int:
        return hash(self._bytes)

    def hex(self) -> str:
        """Hexadecimal digits, most significant first (not part of the real module)."""
        return binascii.hexlify(bytes(reversed(self._bytes))).decode()


class _Value:
    """One attribute's value with its room, as the stack on a board keeps it."""

    def __init__(self) -> None:
        self.data = b""
        self.room = _DEFAULT_VALUE_ROOM
        self.append = False

    def remote_write(self, data: bytes) -> None:
        """A client wrote: what does not fit is cut off in silence."""
        joined = self.data + data if self.append else data
        self.data = joined[: self.room]

    def local_write(self, data: Any) -> None:
        """The firmware wrote: the room grows with it."""
        self.data = bytes(data)
        self.room = max(self.room, len(self.data))

    def read(self) -> bytes:
        """The value; where writes are appended, reading empties it."""
        data = self.data
        if self.append:
            self.data = b""
        return data


class BLE:
    """The one BLE object: ``BLE()`` always gives the same."""

    _the_one: Any = None

    def __new__(cls) -> Any:
        if BLE._the_one is None:
            BLE._the_one = object.__new__(cls)
            BLE._the_one._prepare()
        return BLE._the_one

    def _prepare(self) -> None:
        self._socket: Any = None
        self._received = b""
        self._handler: Any = None
        self._values: Any = {}
        self._advertised = b""
        self._scan_response = b""
        self._credit = 0
        self._connected: Any = []
        self._address = bytearray(6)
        self._mac = b""
        self._settings = {"mtu": 256, "gap_name": "MPY", "rxbuf": 512, "addr_mode": 0}
        self._settings.update({"bond": False, "mitm": False, "le_secure": False, "io": _NO_INPUT_NO_OUTPUT})

    # -- life ------------------------------------------------------------------------------------------------

    def active(self, on: Any = None) -> bool:
        """Switch the radio on or off, or ask whether it is on."""
        if on is not None and bool(on) != (self._socket is not None):
            if on:
                self._switch_on()
            else:
                self._switch_off()
        return self._socket is not None

    def _switch_on(self) -> None:
        host, port, self._mac = air
        self._socket = socket.socket()
        self._socket.connect(socket.getaddrinfo(host, port)[0][-1])
        self._send("A", self._mac)
        self._socket.setblocking(False)
        self._poller = select.poll()
        self._poller.register(self._socket, select.POLLIN)
        self._task = asyncio.create_task(self._listen())

    def _switch_off(self) -> None:
        self._task.cancel()
        self._socket.close()
        self._prepare_again()

    def _prepare_again(self) -> None:
        handler = self._handler
        self._prepare()
        self._handler = handler

    def config(self, *names: str, **settings: Any) -> Any:
        """``config("mac")`` asks, ``config(mtu=185)`` sets; unknown names raise ValueError."""
        self._need_active()
        if names:
            if names[0] == "mac":
                return (1, self._mac)
            if names[0] not in self._settings:
                raise ValueError("unknown config param")
            return self._settings[names[0]]
        for name, value in settings.items():
            if name not in self._settings:
                raise ValueError("unknown config param")
            self._settings[name] = value
            if name == "mtu":
                self._send("M", struct.pack("<H", value))
            elif name == "bond":
                self._send("B", bytes((bool(value),)))
        return None

    def irq(self, handler: Any) -> None:
        """``handler(event, data)`` hears of radio events."""
        self._handler = handler

    # -- GAP -------------------------------------------------------------------------------------------------

    def gap_advertise(
        self, interval_us: Any, adv_data: Any = None, *, resp_data: Any = None, connectable: bool = True
    ) -> None:
        """Advertise every ``interval_us``; None stops. Data that is None stays as it was."""
        self._need_active()
        if adv_data is not None:
            self._advertised = bytes(adv_data)
        if resp_data is not None:
            self._scan_response = bytes(resp_data)
        if len(self._advertised) > _ADVERTISING_ROOM or len(self._scan_response) > _ADVERTISING_ROOM:
            raise OSError(_EINVAL)
        head = struct.pack("<IBB", interval_us or 0, bool(connectable), len(self._advertised))
        self._send("V", head + self._advertised + self._scan_response)

    def gap_disconnect(self, conn_handle: int) -> bool:
        """Drop a connection; True if there was one."""
        self._need_active()
        if conn_handle not in self._connected:
            return False
        self._send("D", struct.pack("<H", conn_handle))
        return True

    # -- GATT server -----------------------------------------------------------------------------------------

    def gatts_register_services(self, services: Any) -> Any:
        """Replace all services; returns a tuple of value handles for each."""
        self._need_active()
        self._values = {}
        handle = _FIRST_HANDLE
        table = []
        answer = []
        for uuid, characteristics in services:
            handle += 1
            rows = []
            handles = []
            for characteristic in characteristics:
                flags = characteristic[1]
                value_handle = handle + 1
                # Declaration and value, and a client configuration descriptor where it notifies.
                handle += 3 if flags & (FLAG_NOTIFY | FLAG_INDICATE) else 2
                self._values[value_handle] = _Value()
                rows.append([characteristic[0].hex(), flags & 0x3E, value_handle])
                handles.append(value_handle)
            table.append([uuid.hex(), rows])
            answer.append(tuple(handles))
        self._send("S", json.dumps(table).encode())
        return tuple(answer)

    def gatts_set_buffer(self, value_handle: int, length: int, append: bool = False) -> None:
        """Give a value room for ``length`` bytes; ``append``: writes pile up until read."""
        self._need_active()
        value = self._value(value_handle)
        value.room = length
        value.append = append
        # As on a board, resizing empties it.
        value.data = b""

    def gatts_write(self, value_handle: int, data: Any, send_update: bool = False) -> None:
        """Set a value that clients read; ``send_update`` also notifies those who subscribed."""
        self._need_active()
        self._value(value_handle).local_write(data)
        self._send("U" if send_update else "W", struct.pack("<H", value_handle) + bytes(data))

    def gatts_read(self, value_handle: int) -> bytes:
        """A value as it stands."""
        self._need_active()
        return self._value(value_handle).read()

    def gatts_notify(self, conn_handle: int, value_handle: int, data: Any = None) -> None:
        """Notify a client, subscribed or not. Raises OSError ENOMEM while the queue is full."""
        self._hand_over("N", conn_handle, value_handle, data)

    def gatts_indicate(self, conn_handle: int, value_handle: int, data: Any = None) -> None:
        """Indicate to a client; an event tells when it has answered."""
        self._hand_over("I", conn_handle, value_handle, data)

    def _hand_over(self, kind: str, conn_handle: int, value_handle: int, data: Any) -> None:
        self._need_active()
        value = self._value(value_handle)
        if conn_handle not in self._connected:
            raise OSError(_ENOTCONN)
        if self._credit <= 0:
            raise OSError(_ENOMEM)
        self._credit -= 1
        content = bytes(value.data if data is None else data)
        self._send(kind, struct.pack("<HH", conn_handle, value_handle) + content)

    # -- the wire to the virtual radio -----------------------------------------------------------------------

    def _need_active(self) -> None:
        if self._socket is None:
            raise OSError(_ENODEV)

    def _value(self, handle: int) -> _Value:
        if handle not in self._values:
            raise OSError(_EINVAL)
        return self._values[handle]

    def _send(self, kind: str, payload: bytes) -> None:
        frame = struct.pack("<HB", len(payload) + 1, ord(kind)) + payload
        view = memoryview(frame)
        while len(view):
            try:
                sent = self._socket.send(view)
            except OSError as error:
                if error.args[0] not in _TRY_AGAIN:
                    raise
                sent = 0
            view = view[sent:]

    async def _listen(self) -> None:
        while self._poll():
            await asyncio.sleep(0.001)
        # The radio went away under the firmware, as when a board loses its Bluetooth chip: end the program.
        raise SystemExit(0)

    def _poll(self) -> bool:
        """Take what the radio has sent; False once it has hung up."""
        while self._poller.poll(0):
            try:
                chunk = self._socket.recv(4096)
            except OSError:
                return False
            if not chunk:
                return False
            self._received += chunk
            self._dispatch_all()
        return True

    def _dispatch_all(self) -> None:
        while len(self._received) >= 2:
            (length,) = struct.unpack_from("<H", self._received)
            if len(self._received) < 2 + length:
                return
            frame = self._received[2 : 2 + length]
            self._received = self._received[2 + length :]
            self._dispatch(chr(frame[0]), frame[1:])

    def _dispatch(self, kind: str, payload: bytes) -> None:
        if kind == "k":
            self._credit += struct.unpack("<H", payload)[0]
        elif kind == "c":
            self._on_connected(payload)
        elif kind == "d":
            self._on_disconnected(payload)
        elif kind == "m":
            self._event(_IRQ_MTU_EXCHANGED, struct.unpack("<HH", payload))
        elif kind == "i":
            self._event(_IRQ_GATTS_INDICATE_DONE, struct.unpack("<HHB", payload))
        elif kind == "e":
            conn_handle, encrypted, bonded, size = struct.unpack("<HBBB", payload)
            update = (conn_handle, bool(encrypted), False, bool(bonded), size)
            self._event(_IRQ_ENCRYPTION_UPDATE, update)
        elif kind == "s":
            size = payload[2]
            key, value = payload[3 : 3 + size], payload[3 + size :]
            secret = (payload[1], memoryview(key), memoryview(value) if value else None)
            self._send("r", bytes((payload[0], bool(self._event(_IRQ_SET_SECRET, secret)))))
        elif kind == "g":
            value = self._event(_IRQ_GET_SECRET, (payload[1], 0, memoryview(payload[3:])))
            self._send("r", payload[:1] + (b"" if value is None else bytes(value)))
        elif kind == "w":
            conn_handle, value_handle = struct.unpack_from("<HH", payload)
            value = self._values.get(value_handle)
            if value:
                value.remote_write(payload[4:])
                self._send("W", struct.pack("<H", value_handle) + value.data)
                self._event(_IRQ_GATTS_WRITE, (conn_handle, value_handle))

    def _on_connected(self, payload: bytes) -> None:
        conn_handle, self._credit, kind = struct.unpack_from("<HHB", payload)
        self._connected.append(conn_handle)
        self._with_address(_IRQ_CENTRAL_CONNECT, conn_handle, kind, payload[5:11])

    def _on_disconnected(self, payload: bytes) -> None:
        conn_handle, kind = struct.unpack_from("<HB", payload)
        if conn_handle in self._connected:
            self._connected.remove(conn_handle)
        self._credit = 0
        self._with_address(_IRQ_CENTRAL_DISCONNECT, conn_handle, kind, payload[3:9])

    def _with_address(self, event: int, conn_handle: int, kind: int, address: bytes) -> None:
        self._address[:] = address
        self._event(event, (conn_handle, kind, memoryview(self._address)))
        # The address belongs to the handler only: whoever kept it finds it overwritten, as on a board.
        self._address[:] = b"\xff" * 6

    def _event(self, event: int, data: Any) -> Any:
        return self._handler(event, data) if self._handler else None
