"""The tables of the Parquet dataset: what each column means, its unit and its type. DEVELOPERS.md quotes this list."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["text", "whole", "number", "truth", "texts", "map"]


@dataclass(frozen=True)
class Column:
    """One column; ``unit`` "" where there is none. What cannot be known is null."""

    name: str
    kind: Kind
    unit: str
    meaning: str


_RECORDING = (
    Column("file", "text", "", "the recording's name as the call had it"),
    Column("recording_sha256", "text", "", "SHA-256 of the recording; joins the tables"),
)
_PHASE = (
    ("duration_s", "s", "duration"),
    ("energy_j", "J", "the athlete's energy"),
    ("mean_power_w", "W", "energy over duration"),
    ("peak_power_w", "W", "greatest 50 ms running mean of the athlete's power"),
    ("peak_torque_nm", "N·m", "greatest 50 ms running mean of the athlete's torque"),
    ("peak_force_n", "N", "greatest 50 ms running mean of the strap's force"),
)
PHASES = ("concentric", "eccentric")
# Figures of a rep whose standard uncertainty the reference states, by the key under which it states it.
UNCERTAIN = {
    "peak_rad_s": "rad/s",
    "start_us": "µs",
    "extension_us": "µs",
    "end_us": "µs",
    "brake_onset_us": "µs",
    "brake_fraction": "1",
    "concentric.energy_j": "J",
    "concentric.mean_power_w": "W",
    "concentric.peak_power_w": "W",
    "eccentric.energy_j": "J",
    "eccentric.mean_power_w": "W",
    "eccentric.peak_power_w": "W",
}
_REP = (
    Column("rep", "whole", "", "the rep's index in its recording, from 0"),
    Column("set", "whole", "", "its set in the recording, from 0"),
    Column("momentum", "truth", "", "a momentum rep: counted, left out of a set's figures"),
    Column("start_us", "whole", "µs", "first motion after a turnaround, on the recording's clock, unwrapped"),
    Column("extension_us", "whole", "µs", "phi = 0 is passed"),
    Column("end_us", "whole", "µs", "angular velocity reaches 0"),
    Column("peak_us", "whole", "µs", "the greatest angular velocity"),
    Column("peak_rad_s", "number", "rad/s", "greatest angular velocity"),
    Column("concentric_rad", "number", "rad", "shaft angle from start to extension"),
    Column("eccentric_rad", "number", "rad", "shaft angle from extension to end"),
    Column("brake_onset_us", "whole", "µs", "braking begins"),
    Column("brake_fraction", "number", "1", "where on the way back braking begins"),
    Column("brake_timing", "text", "", "early, inside, late or none"),
    *(
        Column(f"{phase}_{name}", "number", unit, f"{phase} phase: {meaning}")
        for phase in PHASES
        for name, unit, meaning in _PHASE
    ),
    Column("ratio_peak_power", "number", "1", "eccentric over concentric peak power"),
    Column("ratio_mean_power", "number", "1", "eccentric over concentric mean power"),
    Column("flags", "texts", "", "flags of the rep"),
    *(
        Column(
            f"u_{key.replace('.', '_')}", "number", unit, f"standard uncertainty of {key.replace('.', '_')}"
        )
        for key, unit in UNCERTAIN.items()
    ),
)
_COUNTERS = ("bounced", "missed", "spurious", "overrun", "incomplete")
_ANALYSIS = (
    Column("engine_version", "text", "", "digest of the code, libraries and kind of computer"),
    Column("pulses", "whole", "", "edges in the recording"),
    Column("reps", "whole", "", "reps found"),
    Column("sets", "whole", "", "sets found"),
    Column("cues", "whole", "", "sounds that the board would have made"),
    *(Column(name, "whole", "", f"counted by the engine: {name}") for name in _COUNTERS),
    Column("header", "map", "", "the recording's header, key to value, as written"),
)
_FAULT = (
    *_RECORDING[:1],
    Column("exit_code", "whole", "", "2: the recording or the call is wrong; 3: an engine failed"),
    Column("error", "text", "", "what was wrong and what to do"),
)
_AGREEMENT = (
    Column("figure", "text", "", "which figure; the next columns are in its unit unless they say otherwise"),
    Column("n", "whole", "", "reps that have it from both engines"),
    Column("bias", "number", "", "mean of firmware - reference"),
    Column("loa_low", "number", "", "lower 95 % limit of agreement"),
    Column("loa_high", "number", "", "upper 95 % limit of agreement"),
    Column("max_abs", "number", "", "greatest difference"),
    Column("max_rel", "number", "1", "greatest relative difference; null for times"),
    Column("limit", "number", "", "what is allowed: of max_rel where limits.toml says so, else of max_abs"),
    Column("ok", "truth", "", "whether it holds"),
)
_VERDICT = (
    Column("verdict", "text", "", "pass or fail"),
    Column("reps_firmware", "whole", "", "reps that the firmware found"),
    Column("reps_reference", "whole", "", "reps that the reference found"),
    Column("matched", "whole", "", "reps that both found"),
)

# Table -> its columns. Below `reps` and `analyses` the engine is the partition (`engine=reference/`).
TABLES: dict[str, tuple[Column, ...]] = {
    "reps": (*_RECORDING, *_REP),
    "analyses": (*_RECORDING, *_ANALYSIS),
    "checks": (*_RECORDING, *_VERDICT),
    "agreement": (*_RECORDING, *_AGREEMENT),
    "errors": _FAULT,
}
