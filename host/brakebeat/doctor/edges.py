"""What each magnet gave in a free run, and the edges that are no magnet's."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.calibrate.magnets import head_of, magnets_of
from brakebeat.calibrate.result import Calibration
from brakebeat.calibrate.runs import seconds
from brakebeat.calibrate.spin import Spin, read_spin
from brakebeat.doctor.beyond import strays_beyond
from brakebeat.formats.recording import Recording

Integers = NDArray[np.int64]

# A bounce follows its edge within this; no two magnets of a hand-spun wheel pass in less.
BOUNCE_S = 0.0015


@dataclass(frozen=True)
class Edges:
    """``passes``, ``missed`` (magnets,): how often each passed in the run, and gave no edge, in the order of passing
    from the recording's first edge. ``bounces``, ``strays``: other edges, these within ``span_s``; ``kept``: magnets'
    edges of the run. ``next_places`` (magnets,): which comes to the sensor how many magnets after the last edge (1:
    next), or None. ``first_sure``: whether it is sure which magnet came first.
    """

    spin: Spin
    offsets: Calibration
    passes: Integers
    missed: Integers
    bounces: int
    strays: int
    kept: int
    span_s: float
    next_places: Integers | None
    first_sure: bool


def read_edges(recording: Recording) -> Edges:
    """Sort a recording's edges out. Raises ``InputError`` where it holds no free run."""
    spin = read_spin(recording)
    offsets = magnets_of(spin)
    magnets, track = spin.magnets, spin.track
    places = np.arange(track.place[0], track.place[-1] + 1)
    seen = np.isin(places, track.place)
    head = head_of(spin)
    magnet = (places - track.place[0] + head.places) % magnets
    passes = np.bincount(magnet, minlength=magnets)
    missed = np.bincount(magnet[~seen], minlength=magnets)
    t_s = seconds(recording.t_us)
    bounced = np.concatenate([[False], np.diff(t_s) < BOUNCE_S])
    inside = np.arange(len(t_s))
    own = np.isin(inside, track.edge)
    run = (inside >= track.edge[0]) & (inside <= track.edge[-1])
    strays = int((run & ~own & ~bounced).sum())
    following = None
    if track.whole and int(track.edge[-1]) == len(t_s) - 1:
        last = int(magnet[-1])
        following = (np.arange(magnets) - last - 1) % magnets + 1
    more, beyond_s = strays_beyond(t_s, spin)
    span_s = float(t_s[track.edge[-1]] - t_s[track.edge[0]]) + beyond_s
    return Edges(
        spin,
        offsets,
        passes,
        missed,
        int((bounced & ~own).sum()),
        strays + more,
        len(track.edge),
        span_s,
        following,
        head.sure,
    )
