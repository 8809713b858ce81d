"""The boards that are supported by name and the sources of edges, in one table that the host reads too.

A row of BOARDS: name, chip, port, source of edges for hall sensors, for an encoder, default pins as in PINS. All of
them have a radio. A row of SOURCES: finest time in us, edges a second that it takes without losing any, how losses are
known. What the words mean to people is in the host's `brakebeat.board.table`.
"""

import sys

# Keys of the table [board] in rig.toml. Neighbours for the sensor: a PIO reads two pins only if they are.
PINS = ("sensor_pin", "sensor_pin_b", "buzzer_pin", "led_pin", "motor_pin", "button_pin", "supply_pin")

BOARDS = (
    ("Raspberry Pi Pico W", "RP2040", "rp2", "pio", "pio", (14, 15, 16, 17, 18, 19, 26)),
    ("Raspberry Pi Pico 2 W", "RP2350", "rp2", "pio", "pio", (14, 15, 16, 17, 18, 19, 26)),
    ("ESP32", "ESP32", "esp32", "witnessed", "counter", (25, 26, 27, 32, 33, 13, 34)),
    ("ESP32-S3", "ESP32S3", "esp32", "witnessed", "counter", (4, 5, 6, 7, 15, 16, 1)),
    ("ESP32-C3", "ESP32C3", "esp32", "scheduled", "scheduled", (4, 5, 6, 7, 10, 3, 0)),
)

# How losses are known: counted one by one, or only inferred from magnets that the wheel must have passed.
INFERRED = 0
COUNTED = 1

SOURCES = {
    "interrupt": (1, 8000, COUNTED),
    "scheduled": (1, 600, INFERRED),
    "witnessed": (1, 600, COUNTED),
    "pio": (1, 30000, COUNTED),
    "counter": (500, 100000, COUNTED),
    "replay": (1, 60000, COUNTED),
}


def here():
    # type: () -> tuple[str, str, str, str, str, tuple[int, ...]] | None
    """The row of the board that this runs on; None where it is none of them."""
    # "Raspberry Pi Pico W with RP2040"
    chip = getattr(sys.implementation, "_machine", "").split(" ")[-1]
    for row in BOARDS:
        if row[1] == chip:
            return row
    return None


def source_for(sensor):
    # type: (str) -> str
    """The source of edges that suits this board."""
    row = here()
    return row[3 + (sensor == "quadrature")] if row else "interrupt"  # type: ignore[return-value]


def default_pins():
    # type: () -> dict[str, Any]
    """The table's pins under the rig file's keys: for a board whose rig file is missing or bad."""
    row = here()
    return {"board." + key: pin for key, pin in zip(PINS, row[5])} if row else {}  # noqa: B905 - not on MicroPython
