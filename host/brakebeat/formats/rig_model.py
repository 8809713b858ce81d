"""One rig, described once for the board and the host: what a value may be and which values go together.

Reading and writing it is in ``rig``, wording what is wrong with it in ``rig_errors``.
"""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator, model_validator

# A brake window by name: (target, tolerance), both brake fractions.
BRAKE_PRESETS: dict[str, tuple[float, float]] = {
    # Let the first quarter of the return go by, then brake: common practice, no source.
    "first_quarter": (0.25, 0.10),
    # Braking delayed to the last third of the eccentric phase: Beato et al., Front Physiol 2021;12:732802.
    "last_third": (0.70, 0.07),
}

# Times are exact in a double up to here, so no later step can round one (285 years in microseconds).
LARGEST_TIME_US = 2**53 - 1

SensorKind = Literal["hall", "hall_pair", "quadrature"]
EdgeSource = Literal["auto", "interrupt", "pio", "counter"]
PresetName = Literal["own", "first_quarter", "last_third"]
StrictNumber = Annotated[float, Field(strict=True)]
Pin = Annotated[int, Field(ge=0, le=48)]

_SETTINGS = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


def _number(default: Any, low: float, high: float, unit: str, meaning: str) -> Any:
    """A field with a closed range; the unit and the meaning go into error messages and written files."""
    return Field(default, ge=low, le=high, description=meaning, json_schema_extra={"unit": unit})


class Board(BaseModel):
    """What is wired to the board (table ``[board]``)."""

    model_config = _SETTINGS

    sensor: SensorKind = Field("hall", description="one hall sensor, two of them, or a quadrature encoder")
    sensor_pin: Pin | None = Field(None, description="GPIO number of the sensor (channel A)")
    sensor_pin_b: Pin | None = Field(None, description="GPIO number of channel B, where there are two")
    source: EdgeSource = Field("auto", description="what takes the sensor's edges; auto is right")
    thin: int = _number(1, 1, 10_000, "", "counts of an encoder that make one of pulses_per_rev")
    buzzer_pin: Pin | None = Field(None, description="GPIO number of the buzzer")
    led_pin: Pin | None = Field(None, description="GPIO number of the lamp")
    motor_pin: Pin | None = Field(None, description="GPIO number of the vibration motor's transistor")
    button_pin: Pin | None = Field(None, description="GPIO number of the button: a new set, mute, new hosts")
    supply_pin: Pin | None = Field(None, description="GPIO number that measures the supply, behind a divider")
    volume: float = _number(1.0, 0.0, 1.0, "", "loudness of the buzzer, 0 is silent")
    supply_scale: float = _number(2.0, 1.0, 100.0, "", "supply's voltage over that at supply_pin")
    supply_empty_v: float = _number(3.3, 0.1, 100.0, "V", "supply's voltage when it is empty")
    supply_full_v: float = _number(4.2, 0.1, 100.0, "V", "supply's voltage when it is full")
    open_reading: bool = Field(
        True, description="whether anyone near may read the numbers, or bonded hosts only"
    )
    cycling: bool = Field(False, description="whether the board also shows itself as a cycling speed sensor")

    @field_validator("sensor_pin_b", "buzzer_pin", "led_pin", "motor_pin", "button_pin", "supply_pin")
    @classmethod
    def _pins_differ(cls, pin: int | None, info: ValidationInfo) -> int | None:
        for name, other in info.data.items():
            if name.endswith(("_pin", "_pin_b")) and pin is not None and other == pin:
                raise ValueError(f"GPIO {pin} is taken by {name}; give each its own pin")
        return pin

    @model_validator(mode="after")
    def _full_is_more_than_empty(self) -> Self:
        if self.supply_full_v <= self.supply_empty_v:
            raise ValueError("supply_full_v must be greater than supply_empty_v")
        return self

    @model_validator(mode="after")
    def _two_channels_need_two_pins(self) -> Self:
        if self.sensor != "hall" and self.sensor_pin is not None and self.sensor_pin_b is None:
            raise ValueError(f"sensor {self.sensor!r} has two channels; add sensor_pin_b")
        return self

    @model_validator(mode="after")
    def _only_an_encoder_is_thinned(self) -> Self:
        if self.sensor != "quadrature" and self.thin > 1:
            raise ValueError(f"thin counts an encoder's lines; sensor {self.sensor!r} has none, leave it out")
        return self


class Cues(BaseModel):
    """Which sounds the board makes (table ``[cues]``)."""

    model_config = _SETTINGS

    window_cue: bool = Field(False, description="sound as the brake window opens")
    late_cue: bool = Field(True, description="sound when the window has passed without a brake")
    drop_off_peak: float = _number(0.10, 0.0, 1.0, "", "drop of the peak speed that sounds, 0 turns it off")
    drop_off_power: float = _number(0.25, 0.0, 1.0, "", "drop of the mean power that sounds, 0 turns it off")
    planned_reps: int | None = _number(None, 1, 1000, "", "reps of a set, momentum reps not counted")


class Rig(BaseModel):
    """A rig and its settings, with the defaults of the recording format. Frozen; SI units in the names.

    ``None`` means unknown: what needs it is reported as null, never guessed. Built with a keyword a field;
    a wrong value raises ``pydantic.ValidationError`` (the readers turn that into an ``InputError``).
    """

    model_config = _SETTINGS

    # No quotes, backslashes or control characters: the board's reader knows no escapes.
    name: str | None = Field(
        None,
        min_length=1,
        max_length=20,
        pattern=r"^[^\"\\\x00-\x1f\x7f]*$",
        description="what you call this rig, without quotes and backslashes",
    )
    pulses_per_rev: int = Field(
        ge=1, le=10_000, description="edges in one turn of the shaft", json_schema_extra={"unit": ""}
    )
    ticks_wrap: int | None = _number(None, 2, 2**64, "us", "modulus of the counter in a recording")
    inertia_kg_m2: float | None = _number(None, 1e-6, 1e3, "kg·m²", "moment of inertia of all that turns")
    drum_radius_m: float | None = _number(None, 1e-3, 1.0, "m", "drum radius to the first layer's mid-line")
    strap_thickness_m: float = _number(0.0, 0.0, 0.05, "m", "thickness of the strap")
    drum_taper_m_per_rad: float = _number(0.0, -0.01, 0.01, "m/rad", "radius gained a radian on a cone")
    friction_torque_nm: float = _number(0.0, 0.0, 100.0, "N·m", "friction that does not depend on speed")
    friction_viscous_nm_s: float = _number(0.0, 0.0, 10.0, "N·m·s", "friction proportional to speed")
    friction_drag_nm_s2: float = _number(0.0, 0.0, 1.0, "N·m·s²", "friction proportional to speed squared")
    brake_preset: PresetName = Field("own", description="a brake window by name, or your own")
    brake_target: float = _number(0.25, 0.0, 1.0, "", "brake fraction to aim at")
    brake_tolerance: float = _number(0.10, 0.0, 0.5, "", "brake fraction by which one may miss it")
    momentum_reps: int = _number(2, 0, 50, "", "reps to get going with, left out of a set's figures")
    rest_gap_s: float = _number(10.0, 0.0, 3600.0, "s", "a longer pause than this starts a new set")
    zero_index: int | None = _number(None, 0, 2**31 - 1, "", "edge number nearest to phi = 0")
    magnet_offsets_rad: Annotated[tuple[StrictNumber, ...], Field(strict=False)] | None = Field(
        None,
        description="each magnet's angle from even spacing",
        json_schema_extra={"unit": "rad"},
    )
    cues: Cues = Cues()
    board: Board = Board()

    @model_validator(mode="before")
    @classmethod
    def _fill_in_preset(cls, values: Any) -> Any:
        """A named preset stands for its numbers, unless they are spelt out (then they have to agree)."""
        preset = values.get("brake_preset") if isinstance(values, dict) else None
        if not isinstance(preset, str) or preset not in BRAKE_PRESETS:
            return values
        target, tolerance = BRAKE_PRESETS[preset]
        return {"brake_target": target, "brake_tolerance": tolerance, **values}

    @field_validator("brake_target", "brake_tolerance")
    @classmethod
    def _agrees_with_preset(cls, value: float, info: ValidationInfo) -> float:
        preset = info.data.get("brake_preset", "own")
        if preset in BRAKE_PRESETS:
            wanted = BRAKE_PRESETS[preset][info.field_name == "brake_tolerance"]
            if value != wanted:
                raise ValueError(
                    f"brake_preset {preset!r} means {wanted:g}; leave this key out or set the preset to 'own'"
                )
        return value

    @field_validator("magnet_offsets_rad")
    @classmethod
    def _one_offset_a_magnet(cls, offsets: tuple[float, ...] | None, info: ValidationInfo) -> Any:
        count = info.data.get("pulses_per_rev")
        if offsets is None or count is None:
            return offsets
        if len(offsets) != count:
            raise ValueError(f"{len(offsets)} offsets for {count} pulses_per_rev; give one for each magnet")
        limit = math.pi / count
        for position, offset in enumerate(offsets):
            if abs(offset) >= limit:
                raise ValueError(
                    f"offset {position} ({offset:g} rad) is not below half the spacing ({limit:.4g} rad); "
                    "measure the offsets again with `brakebeat calibrate magnets`"
                )
        return offsets

    @property
    def brake_window(self) -> tuple[float, float]:
        """Brake fractions at which the window opens and closes."""
        return self.brake_target - self.brake_tolerance, self.brake_target + self.brake_tolerance

    def board_dict(self) -> dict[str, Any]:
        """Every known value under a flat key (``cues.late_cue``), as the board's own reader gives it."""
        flat: dict[str, Any] = {}
        for key, value in self.model_dump(exclude_none=True).items():
            if isinstance(value, dict):
                flat.update({f"{key}.{inner}": item for inner, item in value.items()})
            else:
                flat[key] = list(value) if isinstance(value, tuple) else value
        return flat

    def overridden_by(self, other: Self) -> Self:
        """This rig with every key that ``other`` states put in its place.

        ``ticks_wrap`` stays: it belongs to the times of a recording, not to the rig.
        """
        merged = _stated(self)
        theirs = _stated(other)
        theirs.pop("ticks_wrap", None)
        if other.pulses_per_rev != self.pulses_per_rev:
            merged.pop("magnet_offsets_rad", None)
        if not theirs.keys().isdisjoint({"brake_target", "brake_tolerance"}):
            theirs.setdefault("brake_preset", "own")
        for table in ("cues", "board"):
            if table in theirs:
                theirs[table] = {**merged.get(table, {}), **theirs[table]}
        return type(self).model_validate({**merged, **theirs})


def _stated(rig: Rig) -> dict[str, Any]:
    return rig.model_dump(exclude_unset=True)
