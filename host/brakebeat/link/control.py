"""Asks a board to do something and waits for its answer: repeated where it got lost, refusals put into words."""

from __future__ import annotations

import asyncio
import itertools
from collections.abc import Callable

from brakebeat.board.files import load_wire
from brakebeat.errors import DeviceError
from brakebeat.link.commands import Answer, pack_command, unpack_answer
from brakebeat.link.transport import Transport

ANSWER_S = 2.0
_TRIES = 3


def _nothing() -> None:
    pass


class CommandError(DeviceError):
    """The board answered that it did not do what it was asked to; nothing has changed there."""

    def __init__(self, words: str, error: int, payload: bytes = b"") -> None:
        super().__init__(words)
        self.error = error
        self.payload = payload


class Control:
    """Commands over one transport. Give it every answer that comes in (``hear``)."""

    def __init__(self, transport: Transport, answer_s: float = ANSWER_S) -> None:
        self._transport = transport
        self._answer_s = answer_s
        self._tags = itertools.cycle(range(1, 256))
        self._waiting: dict[tuple[int, int], tuple[asyncio.Future[Answer], Callable[[], None]]] = {}

    def hear(self, message: bytes) -> None:
        """An indication on the control channel."""
        answer = unpack_answer(message)
        if answer is None:
            return
        waiting, done = self._waiting.get((answer.code, answer.tag), (None, _nothing))
        if waiting is not None and not waiting.done():
            waiting.set_result(answer)
            if not answer.error:
                done()

    def lost(self) -> None:
        """The link is gone: no answer will come."""
        for waiting, _ in self._waiting.values():
            if not waiting.done():
                waiting.set_exception(DeviceError(f"{self._transport.label}: the link to the board was lost"))

    async def ask(self, code: int, payload: bytes = b"", done: Callable[[], None] = _nothing) -> bytes:
        """Send a command until it is answered; the answer's payload.

        ``done`` is called as a good answer comes in, before any message behind it is heard.

        Raises:
            CommandError: the board refuses. DeviceError: the link broke, or no answer came in several tries.
        """
        for _ in range(_TRIES):
            answer = await self._once(code, payload, done)
            if answer is not None:
                break
        else:
            raise DeviceError(
                f"{self._transport.label} does not answer; restart the board, or install this version's firmware"
            )
        if answer.error:
            raise CommandError(refusal(self._transport.label, answer.error), answer.error, answer.payload)
        return answer.payload

    async def tell(self, code: int, payload: bytes = b"") -> None:
        """Send a command that is not answered where all is well."""
        await self._transport.write(pack_command(code, next(self._tags), payload))

    async def _once(self, code: int, payload: bytes, done: Callable[[], None]) -> Answer | None:
        tag = next(self._tags)
        future: asyncio.Future[Answer] = asyncio.get_running_loop().create_future()
        self._waiting[code, tag] = future, done
        try:
            await self._transport.write(pack_command(code, tag, payload))
            async with asyncio.timeout(self._answer_s):
                return await future
        except TimeoutError:
            return None
        finally:
            del self._waiting[code, tag]


def refusal(label: str, error: int) -> str:
    """What an error code in an answer means and what to do about it."""
    wire = load_wire()
    words = {
        wire.ERROR_MALFORMED: "the command arrived damaged; try again",
        wire.ERROR_UNKNOWN: "its firmware does not know this command; install this version's firmware on it",
        wire.ERROR_REFUSED: (
            "refused: this needs a bond between this computer and the board. Hold the button on the board "
            "for 3 s (or switch it off and on), then try again within 60 s"
        ),
        wire.ERROR_BUSY: "refused while the wheel turns; let it come to rest, wait 2 s, try again",
        wire.ERROR_VERSION: "its firmware speaks another protocol version; install this version's firmware on it",
        wire.ERROR_VALUE: "refused: a value is out of range",
        wire.ERROR_RIG: "refused: the board finds a mistake in the rig file",
        wire.ERROR_STORAGE: "the board could not write to its flash; is it full or read-only?",
    }
    return f"{label}: {words.get(error, f'refused, with error {error} that this version does not know')}"
