"""Where a journal can lie: raw flash outside the file system, files of their own, or memory as the last resort.

What each of them guarantees when the power goes is written down in the hardware notes.
"""

import os

from micropython import const

_FLASH_BLOCKS = const(32)
_FILE_BLOCKS = const(16)
_MEMORY_BLOCKS = const(4)


class FlashRegion:
    """The last ``_FLASH_BLOCKS`` blocks of a block device with separate erase and program (`vfs`' extended
    interface): nothing but these calls touches them, one call is one operation of the chip."""

    pages = 16
    page = 256
    instant = False

    def __init__(self, device):
        self._device = device
        self.blocks = min(device.ioctl(4, 0), _FLASH_BLOCKS)
        self._first = device.ioctl(4, 0) - self.blocks

    def read(self, block, page, buffer):
        """Fill ``buffer`` from the start of a page."""
        self._device.readblocks(self._first + block, buffer, page * 256)

    def program(self, block, page, buffer):
        """Write an erased page."""
        self._device.writeblocks(self._first + block, buffer, page * 256)

    def erase(self, block):
        """Set a block to all ones."""
        self._device.ioctl(6, self._first + block)


class FileRegion:
    """A file for each block, pages appended: as safe as the file system under it."""

    pages = 16
    page = 128
    blocks = _FILE_BLOCKS
    instant = False

    def __init__(self, folder):
        # type: (str) -> None
        try:
            os.mkdir(folder)
        except OSError:
            # It is there already, or the first erase will say what is wrong.
            pass
        self._path = folder + "/%d"

    def read(self, block, page, buffer):
        """Fill ``buffer`` from the start of a page; what was never written is all ones."""
        size = 0
        try:
            with open(self._path % block, "rb") as file:
                file.seek(page * 128)
                size = file.readinto(buffer) or 0
        except OSError:
            pass
        buffer[size:] = b"\xff" * (len(buffer) - size)

    def program(self, block, page, buffer):
        """Write an erased page."""
        with open(self._path % block, "r+b") as file:
            file.seek(page * 128)
            file.write(buffer)

    def erase(self, block):
        """Empty a block's file."""
        open(self._path % block, "wb").close()


class MemoryRegion:
    """Memory: survives a lost link, not a power cut."""

    pages = 17
    page = 116
    blocks = _MEMORY_BLOCKS
    instant = True

    def __init__(self):
        self._data = bytearray(_MEMORY_BLOCKS * 17 * 116)

    def _at(self, block, page):
        start = (block * 17 + page) * 116
        return memoryview(self._data)[start : start + 116]

    def read(self, block, page, buffer):
        """Fill ``buffer`` from a page."""
        buffer[:] = self._at(block, page)

    def program(self, block, page, buffer):
        """Write an erased page."""
        self._at(block, page)[:] = buffer

    def erase(self, block):
        """Set a block to all ones."""
        for page in range(17):
            self._at(block, page)[:] = b"\xff" * 116


def find():
    """The best region that this port has: raw flash behind the file system, a flash partition, files."""
    try:
        import rp2

        device = rp2.Flash()
        used = os.statvfs("/")
        size = device.ioctl(4, 0) or 0  # its stub allows for None
        # Firmware whose boot script mounts a part of the flash only leaves the rest to us.
        if used[0] == 4096 and size - used[2] >= _FLASH_BLOCKS:
            return FlashRegion(device)
    except (ImportError, AttributeError, OSError):
        pass
    try:
        import esp32  # type: ignore[import-not-found, unused-ignore]

        for device in esp32.Partition.find(esp32.Partition.TYPE_DATA, label="journal"):
            return FlashRegion(device)
    except (ImportError, AttributeError, OSError):
        pass
    return FileRegion("journal")
