"""Decodes the records that the firmware packs: the same bytes whether a radio or a replay carried them."""

from __future__ import annotations

import math
import struct
from typing import Any

from brakebeat.board.files import load_wire
from brakebeat.results import Cue, PhaseFigures, Rep


def decode_rep(record: bytes, offset_us: int = 0) -> tuple[Rep, list[Cue]]:
    """The rep and its cues in a packed ``wire.REP_FIELDS`` record; longer records of a newer board are fine.

    Args:
        record: at least ``wire.REP_SIZE`` bytes.
        offset_us: added to the board's clock.

    Raises:
        ValueError: the record is too short.
    """
    wire = load_wire()
    if len(record) < wire.REP_SIZE:
        raise ValueError(f"rep record of {len(record)} bytes, at least {wire.REP_SIZE} are needed")
    names = [name for name, _ in wire.REP_FIELDS]
    values: dict[str, Any] = dict(zip(names, struct.unpack_from(wire.REP_FORMAT, record), strict=True))
    start_us = values["start_us"] + offset_us

    def after(name: str) -> int | None:
        return None if values[name] == wire.ABSENT else start_us + values[name]

    end_us = after("end_after_us")
    extension_us = after("extension_after_us")
    peak_us = after("peak_after_us")
    if end_us is None or extension_us is None or peak_us is None:
        raise ValueError("rep record without the times of extension, peak or end")
    flags = values["flags"]
    rep = Rep(
        index=values["index"],
        momentum=bool(flags & wire.FLAG_MOMENTUM),
        start_us=start_us,
        extension_us=extension_us,
        end_us=end_us,
        peak_us=peak_us,
        peak_rad_s=values["peak_rad_s"],
        concentric_rad=values["concentric_rad"],
        eccentric_rad=values["eccentric_rad"],
        brake_onset_us=after("onset_after_us"),
        brake_fraction=_known(values["brake_fraction"]),
        brake_timing=wire.TIMING_NAMES.get(values["timing"]),
        concentric=_phase(values, "concentric", (extension_us - start_us) * 1e-6),
        eccentric=_phase(values, "eccentric", (end_us - extension_us) * 1e-6),
        flags=[name for bit, name in wire.FLAG_NAMES if flags & bit],
    )
    return rep, _cues(values, rep, wire)


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _phase(values: dict[str, Any], phase: str, duration_s: float) -> PhaseFigures:
    names = ("energy_j", "mean_power_w", "peak_power_w", "peak_torque_nm", "peak_force_n")
    return PhaseFigures(duration_s, **{name: _known(values[f"{phase}_{name}"]) for name in names})


def _cues(values: dict[str, Any], rep: Rep, wire: Any) -> list[Cue]:
    cues = []
    for kind in wire.CUE_NAMES:
        after_us = values[f"{kind}_cue_after_us"]
        if after_us != wire.ABSENT:
            cues.append(Cue(rep.start_us + after_us, rep.index, kind))
    return sorted(cues, key=lambda cue: cue.t_us)
