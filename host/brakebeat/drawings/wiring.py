"""The wiring diagram of one board, from the firmware's table of default pins."""

from __future__ import annotations

from collections.abc import Callable

from brakebeat.board.table import SupportedBoard
from brakebeat.drawings import symbols as draw
from brakebeat.drawings.svg import Picture

_WIDTH, _LEFT, _EDGE = 760.0, 40.0, 220.0
_WIRE = 300.0
# Rows: key of the table [board], height above its wire and below, what it is.
_ROWS: tuple[tuple[str, float, float], ...] = (
    ("sensor_pin", 78, 72),
    ("sensor_pin_b", 78, 72),
    ("buzzer_pin", 34, 40),
    ("led_pin", 34, 40),
    ("motor_pin", 92, 56),
    ("button_pin", 34, 40),
    ("supply_pin", 74, 74),
)
OPTIONAL = frozenset({"sensor_pin_b", "buzzer_pin", "led_pin", "motor_pin", "button_pin", "supply_pin"})


def pin_name(board: SupportedBoard, pin: int) -> str:
    """A pin as the board's print has it."""
    return f"GP{pin}" if board.port == "rp2" else f"GPIO{pin}"


def wiring(board: SupportedBoard) -> str:
    """The diagram as SVG text."""
    height = 130.0 + sum(above + below for _, above, below in _ROWS)
    to = Picture(_WIDTH, height, f"Brakebeat wiring, {board.name}")
    to.words(_LEFT, 28, f"{board.name}: wiring with the default pins", 17, bold=True)
    to.words(
        _LEFT, 48, "Supply off, wheel at rest, strap off while you wire. 3.3 V only: no pin takes 5 V.", 12
    )
    to.box(_LEFT, 70, _EDGE - _LEFT, height - 100, fill="#eef2f7", stroke=2)
    to.words(_LEFT + 12, 92, board.name, 13, bold=True)
    y = 70.0
    for key, above, below in _ROWS:
        y += above
        _pin(to, y, pin_name(board, board.pins[key]), key)
        _PARTS[key](to, y)
        y += below
    to.words(_LEFT + 12, height - 62, "3V3: the board's 3.3 V output", 11)
    to.words(_LEFT + 12, height - 46, "GND: every ground, joined", 11)
    to.words(_EDGE + 20, height - 14, "Dashed: optional. All but the first sensor may be left out.", 11)
    return to.text()


def _pin(to: Picture, y: float, name: str, key: str) -> None:
    to.circle(_EDGE, y, 4, fill="white")
    to.words(_EDGE - 10, y + 4, name, 12, "end", bold=True)
    to.words(_EDGE - 10, y + 17, key, 9, "end")
    to.line((_EDGE + 4, y), (_WIRE, y), dash="6 3" if key in OPTIONAL else "")


def _hall(to: Picture, y: float, second: bool) -> None:
    to.line((_WIRE, y), (520, y))
    draw.resistor_up(to, _WIRE + 40, y, y - 46, "10 kΩ")
    draw.rail(to, _WIRE + 40, y - 46, "3V3")
    to.box(520, y - 40, 130, 80)
    to.words(526, y + 4, "OUT", 11)
    to.words(585, y - 26, "VCC", 11, "middle")
    to.words(585, y + 36, "GND", 11, "middle")
    to.words(644, y - 3, "unipolar hall", 10, "end")
    to.words(644, y + 10, "switch" + (" B" if second else ""), 10, "end")
    to.line((585, y - 40), (585, y - 54), (690, y - 54))
    to.line((585, y + 40), (585, y + 48), (690, y + 48))
    draw.capacitor_up(to, 670, y + 48, y - 54, "100 nF")
    draw.rail(to, 690, y - 54, "3V3")
    to.words(704, y + 60, "GND", 10, bold=True)
    draw.ground(to, 690, y + 38 + 10)
    to.words(400, y + 16, "screened cable", 10)


def _first(to: Picture, y: float) -> None:
    _hall(to, y, second=False)


def _second(to: Picture, y: float) -> None:
    _hall(to, y, second=True)


def _buzzer(to: Picture, y: float) -> None:
    x = draw.resistor(to, _WIRE, y, "220 Ω")
    to.line((x, y), (x + 40, y))
    x = draw.buzzer(to, x + 40, y, "passive buzzer (piezo)")
    _to_ground(to, x, y)


def _lamp(to: Picture, y: float) -> None:
    x = draw.resistor(to, _WIRE, y, "330 Ω")
    to.line((x, y), (x + 40, y))
    x = draw.lamp(to, x + 40, y, "LED")
    _to_ground(to, x, y)


def _motor(to: Picture, y: float) -> None:
    x = draw.resistor(to, _WIRE, y, "1 kΩ")
    to.line((x, y), (x + 60, y))
    to.line((x + 30, y), (x + 30, y + 6))
    to.box(x + 25, y + 6, 10, 22)
    to.words(x + 20, y + 22, "10 kΩ", 10, "end")
    draw.dot(to, x + 30, y)
    draw.ground(to, x + 30, y + 28)
    collector, reach = draw.npn(to, x + 60, y)
    draw.ground(to, collector, y + reach)
    to.line((collector, y - reach), (collector, y - 34))
    draw.dot(to, collector, y - 34)
    to.line((collector, y - 34), (collector + 60, y - 34))
    to.circle(collector, y - 54, 13, fill="white")
    to.line((collector, y - 34), (collector, y - 41))
    to.words(collector, y - 50, "M", 12, "middle")
    to.line((collector, y - 67), (collector, y - 76), (collector + 60, y - 76))
    draw.diode_up(to, collector + 60, y - 34, y - 76)
    draw.rail(to, collector, y - 76, "3V3")
    to.words(collector + 78, y - 50, "vibration motor, under 100 mA,", 10)
    to.words(collector + 78, y - 37, "with its diode; small NPN transistor", 10)


def _button(to: Picture, y: float) -> None:
    x = draw.button(to, _WIRE + 40, y, "")
    to.line((_WIRE, y), (_WIRE + 40, y))
    _to_ground(to, x, y)
    to.words(x + 100, y + 4, "push button; the board's own pull-up serves it", 10)


def _supply(to: Picture, y: float) -> None:
    to.line((_WIRE, y), (460, y))
    draw.resistor_up(to, 460, y, y - 46, "100 kΩ")
    to.line((460, y - 46), (560, y - 46))
    draw.dot(to, 460, y)
    to.line((460, y), (460, y + 12))
    to.box(455, y + 12, 10, 26)
    to.words(469, y + 29, "100 kΩ", 10)
    to.line((460, y + 38), (460, y + 46))
    draw.ground(to, 460, y + 42)
    to.line((400, y + 46), (400, y + 42))
    draw.capacitor_up(to, 400, y, y + 42, "")
    to.words(388, y + 25, "100 nF", 10, "end")
    draw.ground(to, 400, y + 42)
    to.words(566, y - 49, "battery + behind its fuse,", 10)
    to.words(566, y - 36, "one lithium cell at most (4.2 V):", 10)
    to.words(566, y - 23, "halved, supply_scale = 2.0", 10)


def _to_ground(to: Picture, x: float, y: float) -> None:
    to.line((x, y), (x + 40, y))
    draw.ground(to, x + 40, y)
    to.words(x + 56, y + 16, "GND", 10, bold=True)


_PARTS: dict[str, Callable[[Picture, float], None]] = {
    "sensor_pin": _first,
    "sensor_pin_b": _second,
    "buzzer_pin": _buzzer,
    "led_pin": _lamp,
    "motor_pin": _motor,
    "button_pin": _button,
    "supply_pin": _supply,
}
