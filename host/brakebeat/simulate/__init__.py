"""An invented athlete on an invented rig: physics integrated, sensed with real faults, the truth known."""

from brakebeat.simulate.athlete import Athlete
from brakebeat.simulate.hard_cases import HardCase, hard_cases
from brakebeat.simulate.motion import Motion, Stretch
from brakebeat.simulate.plan import Nudge, RepPlan, SessionPlan, SetPlan
from brakebeat.simulate.scenario import NO_SPREAD, Spread, default_recording, default_sensed, draw_plan
from brakebeat.simulate.sensing import Sensed, sense, sense_fully
from brakebeat.simulate.sensor import PRESETS, Lost, Sensor, preset
from brakebeat.simulate.session import simulate
from brakebeat.simulate.spin import spin_down
from brakebeat.simulate.truth import Settings
from brakebeat.simulate.wheel import Wheel

__all__ = [
    "NO_SPREAD",
    "PRESETS",
    "Athlete",
    "HardCase",
    "Lost",
    "Motion",
    "Nudge",
    "RepPlan",
    "Sensed",
    "Sensor",
    "SessionPlan",
    "SetPlan",
    "Settings",
    "Spread",
    "Stretch",
    "Wheel",
    "default_recording",
    "default_sensed",
    "draw_plan",
    "hard_cases",
    "preset",
    "sense",
    "sense_fully",
    "simulate",
    "spin_down",
]
