"""A board behind a pty: the real MicroPython VM with its own prompt, its files on a littlefs; a soft reset restarts it.

What a board's chip does and the VM's process cannot (staying at the raw prompt over a soft reset) is done here.
"""

import ast
import os
import pty
import select
import signal
import subprocess
import tempfile
import termios
import threading
import tty
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from brakebeat.board.engine import micropython_command
from brakebeat.pools import interrupt_held

_VM_BOARD = Path(__file__).with_name("vm_board.py")
CTRL_A, CTRL_B, CTRL_C = b"\x01", b"\x02", b"\x03"
_READY = b">>> "
_STARTED_S = 60


@dataclass
class Board:
    """``damage`` turns each byte from the host into one, or none. Entered once the VM runs and has said something."""

    flash: Path
    blocks: int = 256
    damage: Callable[[bytes], bytes] = bytes
    starts: int = 0

    def __enter__(self):
        self._host, self._slave = pty.openpty()
        tty.setraw(self._slave)
        self.port = os.ttyname(self._slave)
        self._raw = self._over = False
        self._spoke = threading.Event()
        self._start()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()
        # What is typed before would be lost, and the host would try again only seconds later.
        assert self._spoke.wait(_STARTED_S), "the VM does not start"
        return self

    def __exit__(self, *_):
        self._over = True
        self._thread.join()
        self.cut_power()
        os.close(self._host)
        os.close(self._slave)

    def cut_power(self):
        """The VM is gone at once."""
        os.kill(self._pid, signal.SIGKILL)
        os.waitpid(self._pid, 0)
        os.close(self._vm)

    def _start(self):
        self.starts += 1
        arguments = [str(self.flash), str(self.blocks), "raw" if self._raw else "run"]
        # A Ctrl-C that comes before the VM runs is lost, as on a board; it must not stop what was forked.
        with interrupt_held():
            self._pid, self._vm = pty.fork()
            if self._pid == 0:
                signal.signal(signal.SIGINT, signal.SIG_IGN)
        if self._pid == 0:
            settings = termios.tcgetattr(0)
            # No echo and no editing, but Ctrl-C stops what runs, as on a board.
            settings[0], settings[1] = 0, 0
            settings[3] = termios.ISIG
            termios.tcsetattr(0, termios.TCSANOW, settings)
            command = micropython_command()
            os.execv(command, [command, "-X", "heapsize=4m", "-i", str(_VM_BOARD), *arguments])
        # After a soft reset the raw prompt comes by itself.
        self._owes_raw = self._raw
        self._said = b""

    def _run(self):
        while not self._over:
            ready, _, _ = select.select([self._host, self._vm], [], [], 0.05)
            if self._host in ready:
                self._from_host(os.read(self._host, 4096))
            if self._vm in ready:
                self._from_vm()

    def _from_host(self, data):
        came = b"".join(self.damage(data[at : at + 1]) for at in range(len(data)))
        for at in range(len(came)):
            if came[at : at + 1] in (CTRL_A, CTRL_B):
                self._raw = came[at : at + 1] == CTRL_A
        os.write(self._vm, came)

    def _from_vm(self):
        try:
            data = os.read(self._vm, 4096)
        except OSError:
            data = b""
        if not data:
            os.waitpid(self._pid, 0)
            os.close(self._vm)
            os.write(self._host, b"MPY: soft reboot\r\n")
            self._start()
            return
        os.write(self._host, data)
        self._spoke.set()
        self._said = (self._said + data)[-len(_READY) :]
        if self._owes_raw and self._said == _READY:
            self._owes_raw = False
            os.write(self._vm, CTRL_A)


def files_on(flash: Path, blocks: int = 256) -> dict[str, bytes]:
    """Every file on a flash, by path: read by the VM from the flash itself."""
    code = (
        "found = {}\n"
        "def walk(path):\n"
        "    for name in os.listdir(path or '/'):\n"
        "        whole = path + '/' + name\n"
        "        if os.stat(whole)[0] == 0x4000: walk(whole)\n"
        "        else: found[whole[1:]] = open(whole, 'rb').read()\n"
        "walk('')\nprint(repr(found))"
    )
    return ast.literal_eval(on_the_vm(flash, code, blocks=blocks).splitlines()[0])


def on_the_vm(flash: Path, then: str, first: str = "", blocks: int = 256) -> str:
    """What the VM prints that runs ``first``, mounts a flash, runs ``then``; nobody is at its prompt."""
    command = [micropython_command(), "-X", "heapsize=16m", str(_VM_BOARD), str(flash), str(blocks), "raw"]
    # An argument of more than 255 bytes stops the VM.
    with tempfile.NamedTemporaryFile("w", suffix=".py") as code:
        code.write(f"{first}\n# mounted\n{then}\n")
        code.flush()
        return subprocess.run([*command, code.name], capture_output=True, text=True, check=False).stdout
