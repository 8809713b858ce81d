"""Reads rig.toml on the board: the flat subset of TOML that the host writes.

Understood: comments, ``key = value`` and one level of ``[table]`` (keys become ``table.key``); values are numbers,
"strings", true/false and one-line arrays of numbers. The host validates a rig file in full; the board only needs to
start with a sane one, and to say what is wrong with any other.
"""

# What the board falls back on, key by key, when a rig file is missing or says nothing.
DEFAULTS = {
    "pulses_per_rev": 6,
    "inertia_kg_m2": None,
    "drum_radius_m": None,
    "strap_thickness_m": 0,
    "drum_taper_m_per_rad": 0,
    "friction_torque_nm": 0,
    "friction_viscous_nm_s": 0,
    "friction_drag_nm_s2": 0,
    "brake_target": 0.25,
    "brake_tolerance": 0.1,
    "momentum_reps": 2,
    "rest_gap_s": 10,
    "zero_index": None,
    "magnet_offsets_rad": None,
    "cues.window_cue": False,
    "cues.late_cue": True,
    "cues.drop_off_peak": 0.1,
    "cues.drop_off_power": 0.25,
    "cues.planned_reps": None,
}

# Keys without a default that would stop the board's program where they are of another kind, and so would a pin.
_TEXTS = ("name", "board.sensor", "board.source")
_SWITCHES = ("board.cycling", "board.open_reading", "cues.window_cue", "cues.late_cue")
_NUMBERS = ("board.volume", "board.supply_scale", "board.supply_empty_v", "board.supply_full_v")
_WHOLE = ("zero_index", "board.thin")

# Brake windows by name: (target, tolerance). The host writes the numbers out too; a hand-written file may not.
PRESETS = {"first_quarter": (0.25, 0.1), "last_third": (0.7, 0.07)}


def defaults():
    # type: () -> dict[str, Any]
    """A fresh rig of default values."""
    return dict(DEFAULTS)


def load(path):
    # type: (str) -> tuple[dict[str, Any], str | None]
    """The rig in file ``path`` and None, or the defaults and the reason why the file was not used."""
    try:
        with open(path) as file:
            return parse(file.read()), None
    except OSError:
        error = "cannot be read, copy a rig file to the board"  # type: Any
    except ValueError as bad:
        error = bad
    except MemoryError:
        error = "too large, no rig file is"
    return defaults(), "%s: %s; default rig in use" % (path, error)


def parse(text):
    # type: (str) -> dict[str, Any]
    """The rig that ``text`` describes, defaults filled in. Raises ValueError naming the line or the key."""
    rig = defaults()
    table = ""
    for number, line in enumerate(text.split("\n")):
        line = line.strip()
        try:
            if line[:1] == "[":
                table = line[1 : line.index("]")].strip() + "."
            elif line and line[0] != "#":
                key, value = line.split("=", 1)
                rig[table + key.strip().strip('"')] = _value(value.strip())
        except ValueError:
            raise ValueError("line %d: cannot be read: %s" % (number + 1, line[:40]))
    preset = rig.get("brake_preset", "own")
    if isinstance(preset, str) and preset in PRESETS:
        rig["brake_target"], rig["brake_tolerance"] = PRESETS[preset]
    elif preset != "own":
        raise ValueError("brake_preset: %r is unknown" % (preset,))
    check(rig)
    return rig


def check(rig):
    # type: (dict[str, Any]) -> None
    """Raise ValueError where a value would stop the detector from working."""
    pulses = rig["pulses_per_rev"]
    offsets = rig["magnet_offsets_rad"]
    if not isinstance(pulses, int) or not 1 <= pulses <= 10000:
        _refuse(rig, "pulses_per_rev")
    if offsets is not None and (not isinstance(offsets, list) or len(offsets) != pulses):
        raise ValueError("magnet_offsets_rad: one number for each of the %d magnets is needed" % pulses)
    for key in DEFAULTS:
        value = rig[key]
        if value is None or value is offsets:
            continue
        # MicroPython's bool is no int.
        if not isinstance(value, (int, float, bool)) or (value < 0 and key != "drum_taper_m_per_rad"):
            _refuse(rig, key)
    for key in ("inertia_kg_m2", "drum_radius_m", "board.thin"):
        if rig.get(key) == 0:
            _refuse(rig, key)
    for key, value in rig.items():
        if value is not None and not isinstance(value, _kinds(key)):
            _refuse(rig, key)


def _kinds(key):
    # type: (str) -> Any
    """What kinds of value this key may have; any for one that nobody here knows."""
    if key in _TEXTS:
        return str
    if key in _SWITCHES:
        return bool
    if key in _NUMBERS:
        return (int, float)
    if key in _WHOLE or (key[:6] == "board." and "_pin" in key):
        return int
    return object


def _refuse(rig, key):
    raise ValueError("%s: cannot be %r" % (key, rig[key]))


def _value(text):
    # type: (str) -> Any
    if text[:1] == '"':
        return text[1 : text.index('"', 1)]
    text = text.split("#")[0].strip()
    if text[:1] == "[":
        if text[-1] != "]":
            raise ValueError
        return [_number(item.strip()) for item in text[1:-1].split(",") if item.strip()]
    if text in ("true", "false"):
        return text == "true"
    return _number(text)


def _number(text):
    # type: (str) -> Any
    plain = text.replace("_", "")
    try:
        return int(plain)
    except ValueError:
        value = float(plain)
    # Neither infinite nor no number at all.
    if value - value != 0:
        raise ValueError
    return value
