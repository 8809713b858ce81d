"""Follows several boards at once: their events in one stream, each with the number of the board that it is from."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncGenerator, Sequence
from dataclasses import dataclass

from brakebeat.errors import BrakebeatError, DeviceError
from brakebeat.link.events import Event


@dataclass(frozen=True)
class Ended:
    """A board's stream has ended for good: nothing more comes from it."""

    reason: str


_Item = tuple[int, Event | Ended | BaseException]
# A consumer that sleeps holds up the boards' streams, not the memory.
_MOST_WAITING = 1000


async def merged(
    streams: Sequence[AsyncGenerator[Event, None]],
) -> AsyncGenerator[tuple[int, Event | Ended], None]:
    """The events of all streams as (position, event), in order of arrival. Close it when you have seen enough.

    A stream that fails ends with ``Ended`` while the others go on. The next event of a stream is asked for
    only once the last one's taker is done with it, so that what is acknowledged has been dealt with.

    Raises:
        DeviceError: all have ended, and none of them well; what each one said is in the message.
    """
    queue: asyncio.Queue[_Item] = asyncio.Queue(_MOST_WAITING)
    done = [asyncio.Event() for _ in streams]
    tasks = [
        asyncio.create_task(_pump(number, stream, queue, done[number]))
        for number, stream in enumerate(streams)
    ]
    reasons: list[str] = []
    try:
        while len(reasons) < len(streams):
            number, item = await queue.get()
            if isinstance(item, BaseException):
                raise item
            if isinstance(item, Ended):
                reasons.append(item.reason)
            yield number, item
            done[number].set()
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
    failures = list(dict.fromkeys(reason for reason in reasons if reason))
    if failures:
        raise DeviceError("\n".join(failures))


async def _pump(
    number: int, stream: AsyncGenerator[Event, None], queue: asyncio.Queue[_Item], done: asyncio.Event
) -> None:
    async with contextlib.aclosing(stream):
        try:
            async for event in stream:
                done.clear()
                await queue.put((number, event))
                await done.wait()
            await queue.put((number, Ended("")))
        except BrakebeatError as error:
            await queue.put((number, Ended(str(error))))
        except Exception as error:
            await queue.put((number, error))
