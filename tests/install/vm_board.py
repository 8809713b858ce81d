"""The MicroPython VM as a board: littlefs on a file for a flash is the whole file system, boot.py and main.py run.

Arguments: the flash's file, its blocks, ``raw`` (a computer holds the prompt: main.py is left out) or ``run``, a file
of Python to run once the flash is mounted; its part before ``# mounted`` runs before that.
"""

import os
import sys

import vfs

BLOCK = 4096


class Flash:
    """A block device with separate erase and program, as `vfs` wants it."""

    def __init__(self, path, blocks):
        self._blocks = blocks
        try:
            self._file = open(path, "r+b")  # noqa: SIM115
        except OSError:
            with open(path, "wb") as new:
                for _ in range(blocks):
                    new.write(b"\xff" * BLOCK)
            self._file = open(path, "r+b")  # noqa: SIM115

    def readblocks(self, block, buffer, offset=0):
        self._file.seek(block * BLOCK + offset)
        self._file.readinto(buffer)

    def writeblocks(self, block, buffer, offset=0):
        self._file.seek(block * BLOCK + offset)
        self._file.write(buffer)

    def ioctl(self, operation, argument):
        if operation == 3:
            self._file.flush()
        elif operation == 4:
            return self._blocks
        elif operation == 5:
            return BLOCK
        elif operation == 6:
            self._file.seek(argument * BLOCK)
            self._file.write(b"\xff" * BLOCK)
            return 0
        return None


def _mount(path, blocks):
    flash = Flash(path, blocks)
    try:
        system = vfs.VfsLfs2(flash)
    except OSError:
        vfs.VfsLfs2.mkfs(flash)
        system = vfs.VfsLfs2(flash)
    vfs.umount("/")
    vfs.mount(system, "/")
    os.chdir("/")


def _start(name):
    try:
        with open(name) as file:
            text = file.read()
    except OSError:
        return
    try:
        exec(compile(text, name, "exec"), {"__name__": "__main__"})
    except KeyboardInterrupt as stopped:
        sys.print_exception(stopped)
    except Exception as error:
        sys.print_exception(error)


_code = "# mounted"
if len(sys.argv) > 4:
    with open(sys.argv[4]) as _file:
        _code = _file.read()
_before, _after = _code.split("# mounted")
exec(_before)
_mount(sys.argv[1], int(sys.argv[2]))
sys.path[:] = ["", ".frozen", "/lib"]
exec(_after)
_start("boot.py")
if sys.argv[3] == "run":
    _start("main.py")
