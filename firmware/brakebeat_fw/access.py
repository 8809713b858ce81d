"""Who may change something: a bonded host over an encrypted link; new bonds only shortly after a button or power-up.

"Just works" pairing keeps a stranger out later, not a man in the middle while the bond is made: the short window and
the hand on the button are what stands against that.
"""

import binascii
import os
import struct

from micropython import const

from .clock import ms_after
from .framing import checksum

_IRQ_CENTRAL_CONNECT = const(1)
_IRQ_CENTRAL_DISCONNECT = const(2)
_IRQ_ENCRYPTION_UPDATE = const(28)
_IRQ_GET_SECRET = const(29)
_IRQ_SET_SECRET = const(30)
_OPEN_MS = const(60000)
_MOST_SECRETS = const(24)


class Access:
    """The bonds of this board and the link's rights. path: of the file that keeps the bonds' secrets.

    button: a pin that reads 0 while pressed, or None.
    """

    def __init__(self, path, button, now_ms):
        self._ble = None  # type: Any
        self._path = path
        self._button = button
        self._secrets = []  # type: list[tuple[int, bytes, bytes]]
        self._dirty = False
        self._encrypted = False
        self._refused = False
        self._opened_ms = now_ms
        self.pairing = False
        self.open = True
        # What is wrong with the file, in words.
        self.trouble = ""
        self._load()

    def start(self, ble):
        # type: (Any) -> None
        """The radio is on: ask for bonds, without a display or a keyboard to prove anything by."""
        self._ble = ble
        self.pairing = try_config(ble, bond=True, mitm=False, le_secure=True, io=3)
        # Where nobody can be told apart, power-up alone opens nothing.
        self.open = self.pairing

    @property
    def trusted(self):
        # type: () -> bool
        """Whether this link may change things."""
        return self._encrypted and not self._refused if self.pairing else self.open

    def service(self, now_ms, at_rest):
        # type: (int, bool) -> None
        """Look at the button and the clock; keep new secrets, which writes flash, while the wheel stands."""
        pressed = self._button is not None and not self._button.value()
        if pressed:
            self._opened_ms = now_ms
        still_open = pressed or (self.open and ms_after(now_ms, self._opened_ms) < _OPEN_MS)
        if still_open != self.open:
            self.open = still_open
            # Closed: a stranger may encrypt the link, but gets no bond.
            try_config(self._ble, bond=still_open)
        if self._dirty and at_rest:
            self._dirty = False
            try:
                self._save()
            except OSError as error:
                self.trouble = "bonds: %s; they end with the power" % error

    def on_event(self, event, data):
        """Radio events about links and secrets; what the stack is to be answered."""
        if event in (_IRQ_CENTRAL_CONNECT, _IRQ_CENTRAL_DISCONNECT):
            self._encrypted = self._refused = False
        elif event == _IRQ_ENCRYPTION_UPDATE:
            self._encrypted = bool(data[1] and data[3])
        elif event == _IRQ_GET_SECRET:
            return self._get(*data)
        elif event == _IRQ_SET_SECRET:
            return self._set(data[0], bytes(data[1]), data[2] and bytes(data[2]))
        return None

    def _get(self, kind, index, key):
        found = [secret for secret in self._secrets if secret[0] == kind]
        if key is not None:
            found = [secret for secret in found if secret[1] == bytes(key)]
            index = 0
        return found[index][2] if index < len(found) else None

    def _set(self, kind, key, value):
        if (kind, key, value) in self._secrets:
            return True
        if not self.open:
            # Neither a new bond nor, for one who borrows its address, an old one's end.
            self._refused = True
            return False
        kept = [secret for secret in self._secrets if secret[:2] != (kind, key)]
        changed = value or len(kept) < len(self._secrets)
        if value:
            kept.append((kind, key, value))
        self._secrets = kept[-_MOST_SECRETS:]
        self._dirty = True
        return bool(changed)

    def _load(self):
        try:
            with open(self._path, "rb") as file:
                data = file.read()
        except OSError:
            return
        if data[-4:] != checksum(data[:-4]):
            self.trouble = "bonds: the file is damaged; bond the hosts anew"
            return
        at = 0
        while at + 4 < len(data):
            kind, first, second = struct.unpack_from("<BBH", data, at)
            at += 4 + first
            self._secrets.append((kind, data[at - first : at], data[at : at + second]))
            at += second

    def _save(self):
        data = b""
        for kind, key, value in self._secrets:
            data += struct.pack("<BBH", kind, len(key), len(value)) + key + value
        replace_file(self._path, data + checksum(data))


def try_config(ble, **settings):
    # type: (Any, Any) -> bool
    """Whether the port knows the settings; not every one does, and the defaults do."""
    try:
        ble.config(**settings)
        return True
    except (ValueError, OSError):
        return False


def file_crc(path):
    # type: (str) -> int
    """The CRC-32 of a file, 0 where there is none."""
    crc = 0
    try:
        with open(path, "rb") as file:
            # Piece by piece: what lies there may be larger than the memory.
            piece = file.read(256)
            while piece:
                crc = binascii.crc32(piece, crc)
                piece = file.read(256)
    except OSError:
        return 0
    return crc & 0xFFFFFFFF


def replace_file(path, data):
    # type: (str, bytes) -> None
    """The old content or the new, whenever the power goes. Raises OSError."""
    try:
        with open(path + ".new", "wb") as file:
            file.write(data)
        os.rename(path + ".new", path)
    except OSError:
        # A full flash needs the room again.
        remove(path + ".new")
        raise


def remove(path):
    # type: (str) -> None
    """Delete a file if it is there."""
    try:
        os.remove(path)
    except OSError:
        pass
