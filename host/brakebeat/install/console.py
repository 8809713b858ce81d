"""The board's prompt: mpremote's serial transport, with every trouble in words."""

from __future__ import annotations

import ast
import contextlib
import hashlib
import io
import struct
import time
from collections.abc import Iterator
from typing import Any

import serial
from mpremote.transport import TransportError, TransportExecError
from mpremote.transport_serial import SerialTransport

from brakebeat.errors import DeviceError
from brakebeat.link.serial_lines import unpack_boot
from brakebeat.link.serial_link import BAUD
from brakebeat.link.serial_port import port_troubles

# Without one, a board that stops in mid-answer would be waited for without end.
_READ_S = 2.0
_TRIES = 3
_PROMPT_S = 4
_WORDS_KEPT = 600


class Console:
    """A board at its raw prompt, its program stopped. Open it with ``console``."""

    def __init__(self, port: str, transport: Any) -> None:
        self.port = port
        self._transport = transport

    def run(self, code: str) -> str:
        """Run code on the board; what it prints. Raises DeviceError with the board's last line where it fails."""
        with self._troubles():
            printed: bytes = self._transport.exec(code)
        return printed.decode(errors="replace")

    def ask(self, expression: str) -> Any:
        """The value of an expression on the board, which must be a literal. Raises DeviceError for anything else."""
        printed = self.run(f"print(repr({expression}))").strip()
        try:
            return ast.literal_eval(printed)
        except (ValueError, SyntaxError) as error:
            raise DeviceError(
                f"{self.port}: the board answers {printed[:80]!r}; reset it, try again"
            ) from error

    def read(self, path: str) -> bytes:
        """A file's content."""
        with self._troubles():
            return bytes(self._transport.fs_readfile(path))

    def write(self, path: str, data: bytes) -> None:
        """Write a file. Raises OSError as the board's file system does, DeviceError where the link fails."""
        with self._troubles():
            self._transport.fs_writefile(path, data)

    def matches(self, path: str, data: bytes) -> bool:
        """Whether the file on the board has the SHA-256 of ``data``, worked out by the board."""
        with self._troubles():
            digest: bytes = self._transport.fs_hashfile(path, "sha256")
        return digest == hashlib.sha256(data).digest()

    def restart(self, seconds: float) -> tuple[bytes | None, str]:
        """Have the board start as at power-up (a soft reset: USB stays): its first status, and its last words.

        The status is None where none comes within ``seconds``.
        """
        with self._troubles():
            self._transport.exit_raw_repl()
            self._transport.serial.write(b"\x04")
            return self._first_status(seconds)

    def _first_status(self, seconds: float) -> tuple[bytes | None, str]:
        words, line = b"", b""
        until_s = time.monotonic() + seconds
        while time.monotonic() < until_s:
            data = self._transport.serial.read(max(self._transport.serial.in_waiting, 1))
            words = (words + data)[-4096:]
            *lines, line = (line + data).split(b"\n")
            for one in lines:
                status = unpack_boot(one)
                if status is not None:
                    return status, _plain(words)
        return None, _plain(words)

    @contextlib.contextmanager
    def _troubles(self) -> Iterator[None]:
        # mpremote prints what it did not expect; standard output is not its own.
        with port_troubles_but_files(self.port), contextlib.redirect_stdout(io.StringIO()):
            yield


@contextlib.contextmanager
def port_troubles_but_files(port: str) -> Iterator[None]:
    """Everything that goes wrong in mpremote as a DeviceError; errors of the board's file system stay OSError."""
    try:
        yield
    except TransportExecError as error:
        last = error.error_output.strip().splitlines()[-1:] or ["it said nothing"]
        raise DeviceError(f"{port}: the board refuses: {last[0]}; reset it, try again") from error
    except (TransportError, struct.error, IndexError, ValueError, SyntaxError) as error:
        raise DeviceError(
            f"{port}: the board does not answer at its prompt ({error}); press its reset button, check that "
            "MicroPython is on it and that no other program (a console, an editor) talks to it, try again"
        ) from error
    except serial.SerialException as error:
        raise DeviceError(f"{port}: the port is gone; plug the board in again, try again") from error


@contextlib.contextmanager
def console(port: str) -> Iterator[Console]:
    """The board on ``port`` at its raw prompt; its program is stopped, main.py is not run meanwhile.

    Raises:
        DeviceError: no such port, no permission, another program has it, or nothing there answers.
    """
    transport = _opened(port)
    try:
        with port_troubles_but_files(port), contextlib.redirect_stdout(io.StringIO()):
            _stop_program(transport)
        yield Console(port, transport)
    finally:
        with contextlib.suppress(OSError, serial.SerialException):
            if transport.in_raw_repl:
                transport.exit_raw_repl()
            transport.close()


def _stop_program(transport: Any) -> None:
    """To the raw prompt; again where a board that is just starting has not heard."""
    for left in reversed(range(_TRIES)):
        try:
            transport.enter_raw_repl(timeout_overall=_PROMPT_S)
            return
        except TransportError:
            if not left:
                raise


def _opened(port: str) -> Any:
    try:
        return SerialTransport(port, baudrate=BAUD, timeout=_READ_S)
    except TransportError as error:
        # It keeps the reason to itself: ask again.
        with port_troubles(port):
            serial.serial_for_url(port, BAUD, exclusive=True).close()
        raise DeviceError(f"{port}: cannot be opened; plug the board in again, try again") from error
    except (serial.SerialException, OSError, ValueError):
        with port_troubles(port):
            raise


def _plain(words: bytes) -> str:
    """Console text without the messages among it."""
    lines = words.decode(errors="replace").replace("\r", "").split("\n")
    return "\n".join(line for line in lines if line.strip() and not line.startswith("$"))[-_WORDS_KEPT:]
