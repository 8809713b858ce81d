"""Where the magnets really sit: offsets from even spacing, from a hand-spun wheel that runs out."""

from __future__ import annotations

import numpy as np

from brakebeat.calibrate.head import Head, walk_head
from brakebeat.calibrate.result import Calibration
from brakebeat.calibrate.runs import seconds
from brakebeat.calibrate.spin import Spin, read_spin
from brakebeat.formats.recording import Recording


def calibrate_magnets(recording: Recording) -> Calibration:
    """Offsets of the magnets, rad, from even spacing, mean zero, in the order of passing from the first edge.

    Constant and speed-dependent friction are fitted along with them. Raises ``InputError`` where the
    recording holds no free run.
    """
    return magnets_of(read_spin(recording))


def magnets_of(spin: Spin) -> Calibration:
    """The same from a spin that has been read."""
    fit, magnets = spin.fit, spin.magnets
    head = head_of(spin)
    # Place 0 of the track lies ``head.places`` magnets after the first edge's.
    order = (np.arange(magnets) + int(spin.track.place[0]) - head.places) % magnets
    offsets, sigma = fit.offset_rad[order], fit.offset_sigma_rad[order]
    result = Calibration(
        "magnets",
        {"offsets_rad": [_known(value) for value in offsets.tolist()]},
        {"offsets_rad": [_known(value) for value in sigma.tolist()]},
        list(spin.flags),
        details={
            "turns": round(fit.turns, 2),
            "fastest_rad_s": fit.coasting.speed_rad_s,
            "edges_used": int(fit.used.sum()),
            "time_scatter_us": fit.time_sigma_s * 1e6,
            "angle_scatter_rad": fit.angle_sigma_rad,
            "missed": spin.track.missed,
            "extra": spin.track.extra,
        },
    )
    if not head.sure:
        result.flag("first_edge_uncertain")
    return result


def head_of(spin: Spin) -> Head:
    """From the recording's first edge to the track's first place."""
    # Counted from the first edge of the free run that is followed by its neighbour.
    track = spin.track
    at = int(np.argmax(np.diff(track.place) == 1))
    head = walk_head(
        seconds(spin.recording.t_us),
        spin.magnets,
        spin.fit.offset_rad,
        int(track.edge[at]),
        int(track.place[at]),
        int(track.edge[at + 1]),
    )
    return Head(head.places - int(track.place[at] - track.place[0]), head.sure)


def _known(value: float) -> float | None:
    return None if np.isnan(value) else value
