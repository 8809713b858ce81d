"""The live part of the demo: the firmware plays the set on a virtual radio, a plain bleak client listens."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable

from brakebeat.board.engine import EngineChoice
from brakebeat.board.messages import decode_rep
from brakebeat.errors import DeviceError
from brakebeat.formats.recording import Recording
from brakebeat.link import Event, RepArrived, Wanted, follow
from brakebeat.results import Analysis, split_sets
from brakebeat.virtual import VirtualRig, virtual_rig

# A recording's pulses are followed by rest, until the board has seen the set end.
_REST_S = 15.0
# Far beyond what starting, finding and connecting take: only a link that hangs for good meets it.
_PATIENCE_S = 60.0


async def receive(
    recording: Recording,
    *,
    speed: float,
    engine: EngineChoice,
    started: Callable[[VirtualRig], None],
    heard: Callable[[Event], None],
) -> Analysis:
    """All that the host received of ``recording`` over the radio, on the recording's clock.

    ``started`` is called once the board runs, ``heard`` with each event as it comes. ``quality`` stays empty:
    a host that follows reps is not sent the counters. ``DeviceError`` where board or link fail.
    """
    lasts_s = ((recording.t_us[-1] - recording.t_us[0]) * 1e-6 + _REST_S) / speed
    try:
        async with (
            asyncio.timeout(lasts_s + _PATIENCE_S),
            virtual_rig(recording, speed=speed, engine=engine) as rig,
        ):
            started(rig)
            return await _follow_to_the_end(rig, recording, heard)
    except TimeoutError as error:
        raise DeviceError("the virtual radio went silent; try again, on a computer less busy") from error
    except OSError as error:
        raise DeviceError(f"the virtual radio needs sockets on 127.0.0.1 ({error})") from error


async def _follow_to_the_end(
    rig: VirtualRig, recording: Recording, heard: Callable[[Event], None]
) -> Analysis:
    analysis = Analysis(rig.engine, len(recording.t_us))
    async with contextlib.aclosing(follow(Wanted(address=rig.board.address))) as events:
        async for event in events:
            heard(event)
            if isinstance(event, RepArrived):
                rep, cues = decode_rep(event.record, rig.offset_us)
                analysis.reps.append(rep)
                analysis.cues += cues
            played = rig.board.reps_played
            if played is not None and len(analysis.reps) >= played:
                break
    analysis.cues.sort(key=lambda cue: cue.t_us)
    analysis.sets = split_sets(analysis.reps, recording.rig.rest_gap_s)
    return analysis
