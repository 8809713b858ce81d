"""Runs on CPython beside the firmware: throws hostile edges at it and tells how wide its integers got.

``python cpython_shim.py hostile.py FIRMWARE MODULES SEED SESSIONS WHOLE BACKWARDS`` prints one line of JSON. WHOLE is
1 for whole sessions, 0 for sessions that leave out what happens once a rep; BACKWARDS is 1 where times may also
leap back, which no clock does (but a board's counter seems to, after half its range unseen).
"""

from __future__ import annotations

import importlib
import json
import random
import sys
import traceback
import types
from array import array
from collections.abc import Callable
from pathlib import Path
from typing import Any

from brakebeat.bench.counting.instrument import Widths, instrumented

_MASK = 0x3FFFFFFF
_BATCHES = 120
_BATCH = 64
# The main loop goes round every millisecond: it sees the clock pass in a gap of this length.
_LONG_US = 300_000
_PULSES = (1, 1, 2, 3, 4, 6, 6, 12, 24, 96, 500, 2400, 4800)


def load_instrumented(folder: Path, name: str) -> Widths:
    """Put an instrumented copy of a firmware module where the others will import it."""
    path = folder / "brakebeat_fw" / f"{name}.py"
    widths = Widths()
    code, extra = instrumented(path.read_text(encoding="utf-8"), str(path), widths)
    package: Any = importlib.import_module("brakebeat_fw")
    module: Any = types.ModuleType(f"brakebeat_fw.{name}")
    module.__package__ = "brakebeat_fw"
    module.__file__ = str(path)
    vars(module).update(extra)
    sys.modules[module.__name__] = module
    setattr(package, name, module)
    exec(code, vars(module))
    return widths


def hostile_session(
    make_session: Callable[[dict[str, Any]], Any],
    defaults: dict[str, Any],
    ring: Any,
    rng: random.Random,
    backwards: bool,
) -> str:
    """One session fed with edges that no wheel makes; the error it broke down with, or nothing."""
    rig = defaults | {"pulses_per_rev": rng.choice(_PULSES)}
    if rng.random() < 0.5:
        rig |= {"inertia_kg_m2": 10.0 ** rng.uniform(-3, 1), "drum_radius_m": 10.0 ** rng.uniform(-3, -0.5)}
    session = make_session(rig)
    counts = rng.random() < 0.4
    loop = _Loop(session, ring)
    t, pace_us = rng.randrange(_MASK + 1), 10.0 ** rng.uniform(0.0, 6.0)
    kinds = ("steady", "steady", "swing", "log", "still", "pair", "wild" if backwards else "swing")
    try:
        for _ in range(_BATCHES):
            kind = rng.choice(kinds)
            for _ in range(rng.randint(1, _BATCH)):
                before = t
                t, pace_us = _next(t, pace_us, kind, rng)
                if not backwards and (t - before) & _MASK > _LONG_US:
                    loop.wait(before, t)
                ring.put(t, _step(rng, kind) if counts else 0)
            loop.take()
            if rng.random() < 0.7:
                session.poll(rng.randrange(_MASK + 1) if backwards and rng.random() < 0.3 else t)
    except Exception as error:  # whatever it is, it is a finding
        return f"{type(error).__name__}: {error}{_where(error)}"
    return ""


class _Loop:
    """The board's main loop: takes what the ring holds, and goes round while nothing comes."""

    def __init__(self, session: Any, ring: Any) -> None:
        self._session, self._ring = session, ring
        self._times, self._steps = array("i", bytes(4 * _BATCH)), array("b", bytes(_BATCH))

    def take(self) -> None:
        """Hand the waiting edges over."""
        self._session.feed(self._times, self._steps, self._ring.take(self._times, self._steps))

    def wait(self, since: int, until: int) -> None:
        """A long gap: the loop sees the clock pass."""
        self.take()
        gap_us = (until - since) & _MASK
        for share in (0.01, 0.1, 0.3, 0.6, 1.0):
            self._session.poll((since + int(share * gap_us)) & _MASK)


def _where(error: Exception) -> str:
    last = traceback.extract_tb(error.__traceback__)[-1]
    return f" ({Path(last.filename).name}:{last.lineno})"


def _next(t: int, pace_us: float, kind: str, rng: random.Random) -> tuple[int, float]:
    if kind == "wild":
        return rng.randrange(_MASK + 1), pace_us
    if kind == "log":
        return (t + int(2.0 ** rng.uniform(0.0, 28.99))) & _MASK, pace_us
    if kind == "still":
        return t, pace_us
    if kind == "pair":
        return (t + rng.choice((1, int(pace_us)))) & _MASK, pace_us
    if kind == "swing":
        pace_us = min(3e7, max(1.0, pace_us * rng.uniform(0.6, 1.6)))
    return (t + int(pace_us * rng.uniform(0.9, 1.1))) & _MASK, pace_us


def _step(rng: random.Random, kind: str) -> int:
    return rng.choice((-1, 1)) if kind in ("wild", "still") or rng.random() < 0.02 else 1


def _passes_only(session_class: Any, detector: Any) -> Any:
    """A session that begins a new stretch where a whole one would work out a rep."""

    class Passes(session_class):  # type: ignore[misc]
        def _under_way(self) -> None:
            pass

        def _turned(self) -> None:
            self.stretch.restart(self.state[detector._TURN_AT])

        def _came_to_rest(self) -> None:
            self.stretch.restart(self.stretch.count)
            self.state[detector._SEEN] = 0

    return Passes


def main() -> None:
    """Instrument, feed, tell."""
    folder, names, seed, sessions, whole, backwards = Path(sys.argv[1]), sys.argv[2], *map(int, sys.argv[3:7])
    sys.path.insert(0, str(folder))
    widths = {name: load_instrumented(folder, name) for name in names.split(",")}
    firmware = {name: _module(name) for name in ("session", "detector", "edges", "rigfile")}
    session_class = firmware["session"].Session
    if not whole:
        session_class = _passes_only(session_class, firmware["detector"])
    ring = firmware["edges"].EdgeRing(128)
    rng = random.Random(seed)

    def make(rig: dict[str, Any]) -> Any:
        return session_class(rig, lambda record: None, lambda kind, rep, t_us: None)

    defaults = firmware["rigfile"].defaults()
    broken = [hostile_session(make, defaults, ring, rng, bool(backwards)) for _ in range(sessions)]
    answer = {
        "modules": {name: _told(seen) for name, seen in widths.items()},
        "broke_down": sorted({error for error in broken if error}),
        "broken_sessions": sum(bool(error) for error in broken),
    }
    print(json.dumps(answer))


def _module(name: str) -> Any:
    return importlib.import_module(f"brakebeat_fw.{name}")


def _told(seen: Widths) -> dict[str, Any]:
    return {
        "most": seen.most,
        "values": seen.values,
        "lines_beyond": seen.lines_beyond(),
        "lines_negative": seen.lines_negative(),
    }


if __name__ == "__main__":
    main()
