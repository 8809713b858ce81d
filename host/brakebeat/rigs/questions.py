"""What `brakebeat rig new` asks, in plain words; an option of the command line answers a question beforehand."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from brakebeat.errors import InputError
from brakebeat.rigs.pins import board_named, pin, refuse_pin

if TYPE_CHECKING:
    from brakebeat.formats.rig import Rig

# Not a key of the rig file: which board it is only tells the pins to begin with.
BOARD = "which_board"


@dataclass(frozen=True)
class Question:
    """One question. ``key`` of the rig file (``board.sensor_pin``), ``parse`` makes its value of an answer.

    An empty answer takes ``default``; ``None`` leaves the key out (not known yet). A ``pin`` of a board that is
    named has the wiring diagram's number as its default, unless it is a ``rare`` one: that is only told.
    """

    key: str
    option: str
    text: str
    parse: Callable[[str], Any]
    default: Any = None
    needed: bool = False
    pin: bool = False
    rare: bool = False


# Units that an answer may carry: how many of each make one of the rig file's.
_LENGTHS = {"": 1.0, "m": 1.0, "cm": 100.0, "mm": 1000.0}
_INERTIAS = {"": 1.0, "kgm2": 1.0}


def _whole(text: str) -> int:
    return int(text)


def _quantity(text: str, units: dict[str, float]) -> float:
    read = re.fullmatch(r"([-+.\d]*(?:e[-+]?\d+)?)(.*)", text.lower().replace(",", "."))
    number, unit = read.groups() if read else ("", "")
    divisor = units.get(re.sub(r"[\s·*^]", "", unit).replace("²", "2"))
    if divisor is None:
        raise ValueError(unit)
    return float(number) / divisor


def _length_m(text: str) -> float:
    return _quantity(text, _LENGTHS)


def _inertia_kg_m2(text: str) -> float:
    return _quantity(text, _INERTIAS)


def _one_of(*words: str) -> Callable[[str], str]:
    def parse(text: str) -> str:
        plain = "_".join(text.lower().replace("-", " ").replace("_", " ").split())
        if plain not in words:
            raise ValueError(f"one of {', '.join(words)}")
        return plain

    return parse


def _yes_or_no(text: str) -> bool:
    plain = text.lower()
    if plain not in ("y", "yes", "true", "n", "no", "false"):
        raise ValueError("yes or no")
    return plain in ("y", "yes", "true")


_KINDS: dict[Callable[[str], Any], str] = {
    _whole: "a whole number",
    _length_m: "a length: a number of metres, or with m, cm or mm behind it",
    _inertia_kg_m2: "a number of kg·m²",
    pin: "a GPIO number (or none)",
}


def _pin(key: str, wire: str, *, rare: bool = False) -> Question:
    option = "--" + key.replace("_", "-")
    return Question(f"board.{key}", option, f"GPIO number of {wire}?", pin, pin=True, rare=rare)


QUESTIONS: tuple[Question, ...] = (
    Question("name", "--name", "What do you call this rig?", str, "my rig"),
    Question(
        BOARD,
        "--board",
        "Which board: Pico W, Pico 2 W, ESP32, ESP32-S3, ESP32-C3 (or other)?",
        board_named,
    ),
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
    _pin("sensor_pin", "the sensor's wire"),
    _pin("sensor_pin_b", "the second wire"),
    _pin("buzzer_pin", "the buzzer"),
    _pin("led_pin", "the lamp (LED)"),
    _pin("motor_pin", "the vibration motor's transistor, if there is one", rare=True),
    _pin("button_pin", "the button"),
    _pin("supply_pin", "the divider that tells a battery's voltage, if there is one", rare=True),
    Question(
        "inertia_kg_m2",
        "--inertia",
        "Moment of inertia of all that turns, in kg·m² (`brakebeat calibrate inertia` finds it)?",
        _inertia_kg_m2,
    ),
    Question(
        "drum_radius_m",
        "--drum-radius",
        "Radius of the drum with the strap all out, to the strap's middle, in m (or write 15 mm)?",
        _length_m,
    ),
    Question(
        "strap_thickness_m",
        "--strap-thickness",
        "Thickness of the strap in m (or write 2 mm; 0 for a cord)?",
        _length_m,
        0.0,
    ),
    Question(
        "brake_preset",
        "--brake",
        "When do you want to brake: first_quarter of the way back, last_third, or own numbers later?",
        _one_of("first_quarter", "last_third", "own"),
        "first_quarter",
    ),
    Question(
        "cues.late_cue",
        "--late-cue",
        "Shall the board sound when a brake comes too late, yes or no (fewer than four magnets cannot tell in time)?",
        _yes_or_no,
        True,
    ),
    Question("momentum_reps", "--momentum-reps", "How many reps to get going, before they count?", _whole, 2),
    Question("cues.planned_reps", "--planned-reps", "How many reps has a set, those not counted?", _whole),
)


def wanted(question: Question, answers: dict[str, Any]) -> bool:
    """Whether a question has a point after the answers so far."""
    return question.key != "board.sensor_pin_b" or answers.get("board.sensor", "hall") != "hall"


def asked(question: Question, answers: dict[str, Any]) -> str:
    """The question as it is put after the answers so far, with what an empty answer means."""
    if question.needed:
        return question.text
    default = default_of(question, answers)
    board = answers.get(BOARD)
    if question.pin and board is not None:
        drawn = board.pins[_inner(question)]
        if question.rare:
            return f"{question.text} (drawn at {drawn}) [none]"
        return f"{question.text} (none: not wired) [{default}]"
    if isinstance(default, bool):
        default = "yes" if default else "no"
    return f"{question.text} [{'not known yet' if default is None else default}]"


def default_of(question: Question, answers: dict[str, Any]) -> Any:
    """What an empty answer means: for a pin, the one in the wiring diagram of the board that was named."""
    board = answers.get(BOARD)
    if question.pin and not question.rare and board is not None and wanted(question, answers):
        return board.pins[_inner(question)]
    if question.key == "cues.late_cue":
        from brakebeat.rigs.show import LEAST_FOR_LATE_CUE

        return answers["pulses_per_rev"] >= LEAST_FOR_LATE_CUE
    return question.default


def answer(question: Question, text: str, answers: dict[str, Any]) -> Any:
    """The value of an answer that goes with the answers so far. Raises ``InputError`` with the option's name."""
    text = text.strip()
    if not text:
        if question.needed:
            raise InputError(f"{question.option}: this one has to be known; there is no rig without it")
        value = default_of(question, answers)
    else:
        try:
            value = question.parse(text)
        except ValueError as error:
            kind = _KINDS.get(question.parse, error)
            raise InputError(f"{question.option}: {text!r} is not {kind}") from error
    if question.pin and value is not None and answers.get(BOARD) is not None:
        refuse_pin(answers[BOARD], _inner(question), value, question.option)
    _refuse_what_no_rig_has(question, value, answers)
    return value


def _refuse_what_no_rig_has(question: Question, value: Any, answers: dict[str, Any]) -> None:
    """A wrong value is best told while it can be answered anew; what later answers may mend is let pass."""
    from pydantic import ValidationError

    from brakebeat.formats.rig import Rig

    try:
        Rig.model_validate(_values({"pulses_per_rev": 1} | answers | {question.key: value}))
    except ValidationError as error:
        for fault in error.errors():
            if ".".join(str(part) for part in fault["loc"]) == question.key:
                raise InputError(_worded(fault)) from error


def rig_of(answers: dict[str, Any]) -> Rig:
    """The rig that answers by key make. Raises ``InputError`` naming option and fault."""
    from pydantic import ValidationError

    from brakebeat.formats.rig import Rig

    try:
        return Rig.model_validate(_values(answers))
    except ValidationError as error:
        raise InputError("\n".join(_worded(fault) for fault in error.errors())) from error


def _values(answers: dict[str, Any]) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for key, value in answers.items():
        if value is None or key == BOARD:
            continue
        table, dot, inner = key.partition(".")
        place = values.setdefault(table, {}) if dot else values
        place[inner if dot else key] = value
    return values


def _inner(question: Question) -> str:
    return question.key.partition(".")[2]


def _worded(fault: Any) -> str:
    from brakebeat.formats.rig_errors import describe, known_keys

    key = ".".join(str(part) for part in fault["loc"])
    option = next((q.option for q in QUESTIONS if q.key == key), key)
    field = known_keys().get(key)
    if fault["type"] == "value_error" or field is None:
        return f"{option}: {fault['input']!r}: {fault['msg'].removeprefix('Value error, ')}"
    return f"{option}: {fault['input']!r}: must be {describe(field)}"
