"""What `brakebeat rig new` asks, in plain words; an option of the command line answers a question beforehand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from brakebeat.errors import InputError
from brakebeat.formats.rig import Rig


@dataclass(frozen=True)
class Question:
    """One question. ``key`` of the rig file (``board.sensor_pin``), ``parse`` makes its value of an answer.

    An empty answer takes ``default``; ``None`` leaves the key out (not known yet).
    """

    key: str
    option: str
    text: str
    parse: Callable[[str], Any]
    default: Any = None
    needed: bool = False


def _whole(text: str) -> int:
    return int(text)


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def _one_of(*words: str) -> Callable[[str], str]:
    def parse(text: str) -> str:
        if text not in words:
            raise ValueError(f"one of {', '.join(words)}")
        return text

    return parse


_KINDS: dict[Callable[[str], Any], str] = {_whole: "a whole number", _number: "a number"}

QUESTIONS: tuple[Question, ...] = (
    Question("name", "--name", "What do you call this rig?", str, "my rig"),
    Question(
        "board.sensor",
        "--sensor",
        "Which sensor: hall (one hall switch), hall_pair (two of them) or quadrature (an encoder)?",
        _one_of("hall", "hall_pair", "quadrature"),
        "hall",
    ),
    Question(
        "pulses_per_rev",
        "--magnets",
        "How many magnets sit on the shaft (for an encoder: counts in one turn, all four edges of a line)?",
        _whole,
        needed=True,
    ),
    Question("board.sensor_pin", "--sensor-pin", "GPIO number of the sensor's wire?", _whole),
    Question("board.sensor_pin_b", "--sensor-pin-b", "GPIO number of the second wire?", _whole),
    Question("board.buzzer_pin", "--buzzer-pin", "GPIO number of the buzzer?", _whole),
    Question(
        "inertia_kg_m2",
        "--inertia",
        "Moment of inertia of all that turns, in kg·m² (`brakebeat calibrate inertia` finds it)?",
        _number,
    ),
    Question(
        "drum_radius_m",
        "--drum-radius",
        "Radius of the drum with the strap all out, to the strap's middle, in m (0.015 is 15 mm)?",
        _number,
    ),
    Question(
        "strap_thickness_m", "--strap-thickness", "Thickness of the strap in m (0 for a cord)?", _number, 0.0
    ),
    Question(
        "brake_preset",
        "--brake",
        "When do you want to brake: first_quarter of the way back, last_third, or own numbers later?",
        _one_of("first_quarter", "last_third", "own"),
        "first_quarter",
    ),
    Question("momentum_reps", "--momentum-reps", "How many reps to get going, before they count?", _whole, 2),
    Question("cues.planned_reps", "--planned-reps", "How many reps has a set, those not counted?", _whole),
)


def wanted(question: Question, answers: dict[str, Any]) -> bool:
    """Whether a question has a point after the answers so far."""
    return question.key != "board.sensor_pin_b" or answers.get("board.sensor", "hall") != "hall"


def answer(question: Question, text: str) -> Any:
    """The value of an answer. Raises ``InputError`` with the option's name."""
    text = text.strip()
    if not text:
        if question.needed:
            raise InputError(f"{question.option}: this one has to be known; there is no rig without it")
        return question.default
    try:
        return question.parse(text)
    except ValueError as error:
        raise InputError(f"{question.option}: {text!r} is not {_KINDS.get(question.parse, error)}") from error


def rig_of(answers: dict[str, Any]) -> Rig:
    """The rig that answers by key make. Raises ``InputError`` naming option and fault."""
    values: dict[str, Any] = {}
    for key, value in answers.items():
        if value is None:
            continue
        table, dot, inner = key.partition(".")
        place = values.setdefault(table, {}) if dot else values
        place[inner if dot else key] = value
    try:
        return Rig.model_validate(values)
    except ValidationError as error:
        raise InputError("\n".join(_worded(fault) for fault in error.errors())) from error


def _worded(fault: Any) -> str:
    key = ".".join(str(part) for part in fault["loc"])
    option = next((q.option for q in QUESTIONS if q.key == key), key)
    reason = fault["msg"].removeprefix("Value error, ")
    return f"{option}: {fault['input']!r}: {reason[:1].lower()}{reason[1:]}"
