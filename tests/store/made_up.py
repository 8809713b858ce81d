"""Reps, sets and recordings of an invented athlete, quick to make."""

import dataclasses

import numpy as np

from brakebeat.formats.recording import Recording
from brakebeat.formats.rig import Rig
from brakebeat.results import PhaseFigures, Rep
from brakebeat.store import Store
from brakebeat.store.catalog import named
from brakebeat.store.sessions import add_reps, start_session, start_set

RIG = Rig(name="barn wheel", pulses_per_rev=6, inertia_kg_m2=0.12, drum_radius_m=0.015)


def rep(index: int = 0, power_w: float = 400.0, *, momentum: bool = False, **changes: object) -> Rep:
    """A plausible rep that starts two seconds after the one before; floats of at most 15 digits."""
    start = 1_000_000 + 2_000_000 * index
    made = Rep(
        index=index,
        momentum=momentum,
        start_us=start,
        extension_us=start + 900_000,
        end_us=start + 1_800_000,
        peak_us=start + 880_000,
        peak_rad_s=round(75.25 + index / 7, 12),
        concentric_rad=38.0,
        eccentric_rad=37.5,
        brake_onset_us=start + 1_100_000,
        brake_fraction=0.26,
        brake_timing="inside",
        concentric=PhaseFigures(0.9, round(0.9 * power_w, 9), power_w, round(1.3 * power_w, 9), 14.0, 700.0),
        eccentric=PhaseFigures(
            0.9, round(0.8 * power_w, 9), round(0.9 * power_w, 9), 2.0 * power_w, 12.5, None
        ),
        flags=["zero_assumed"] if index == 0 else [],
        uncertainty={"peak_rad_s": 0.02} if index == 1 else {},
    )
    return dataclasses.replace(made, **changes)


def a_set(
    store: Store,
    reps: int = 4,
    *,
    athlete: str = "Mara Quill",
    exercise: str = "squat",
    rig: Rig = RIG,
    engine_version: str = "9.9.9",
    session: int | None = None,
) -> tuple[int, int]:
    """(session, set) of a new set."""
    with store.writing():
        who, what = named(store, "athlete", athlete), named(store, "exercise", exercise)
        session_id = session or start_session(store, who)
        set_id = start_set(store, session_id, what, rig, "board", engine_version)
        add_reps(store, set_id, [rep(index, momentum=index < 2) for index in range(reps)])
    return session_id, set_id


def recording(edges: int = 50, first_us: int = 5) -> Recording:
    """Edges that no engine finds a rep in."""
    t_us = first_us + 1000 * np.arange(edges, dtype=np.int64) ** 2 // 10
    return Recording(t_us, np.zeros(edges, np.int8), {"pulses_per_rev": "6", "inertia_kg_m2": "0.12"})
