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
    "strap_thickness_m": 0.0,
    "drum_taper_m_per_rad": 0.0,
    "friction_torque_nm": 0.0,
    "friction_viscous_nm_s": 0.0,
    "friction_drag_nm_s2": 0.0,
    "brake_target": 0.25,
    "brake_tolerance": 0.10,
    "momentum_reps": 2,
    "rest_gap_s": 10.0,
    "zero_index": None,
    "magnet_offsets_rad": None,
    "cues.window_cue": False,
    "cues.late_cue": True,
    "cues.drop_off_peak": 0.10,
    "cues.drop_off_power": 0.25,
    "cues.planned_reps": None,
}


# Brake windows by name: (target, tolerance). The host writes the numbers out too; a hand-written file may not.
PRESETS = {"first_quarter": (0.25, 0.10), "last_third": (0.70, 0.07)}


class RigFileError(ValueError):
    """A rig file that the board cannot use; the message names the line or the key."""


def defaults():
    # type: () -> dict[str, Any]
    """A fresh rig of default values."""
    return dict(DEFAULTS)


def load(path):
    # type: (str) -> tuple[dict[str, Any], str | None]
    """The rig in file ``path`` and None, or the defaults and the reason why the file was not used."""
    try:
        with open(path) as file:
            text = file.read()
        return parse(text), None
    except OSError:
        return defaults(), "%s: cannot be read; default rig in use, copy a rig file to the board" % path
    except (RigFileError, UnicodeError) as error:
        return defaults(), "%s: %s; default rig in use" % (path, error)


def parse(text):
    # type: (str) -> dict[str, Any]
    """The rig that ``text`` describes, defaults filled in. Raises RigFileError naming the line."""
    rig = defaults()
    table = ""
    for number, line in enumerate(text.split("\n")):
        line = line.strip()
        if not line or line[0] == "#":
            continue
        where = "line %d" % (number + 1)
        if line[0] == "[":
            table = _table(line, where)
            continue
        key, found, value = line.partition("=")
        if not found:
            raise RigFileError("%s: expected `key = value`" % where)
        rig[table + key.strip().strip('"')] = _value(value.strip(), where)
    _fill_in_preset(rig)
    check(rig)
    return rig


def check(rig):
    # type: (dict[str, Any]) -> None
    """Raise RigFileError where a value would stop the detector from working."""
    pulses = rig["pulses_per_rev"]
    if not isinstance(pulses, int) or not 1 <= pulses <= 10000:
        raise RigFileError("pulses_per_rev: a whole number from 1 to 10000 is needed, not %r" % (pulses,))
    for key in DEFAULTS:
        value = rig[key]
        if key == "magnet_offsets_rad" or value is None:
            continue
        # MicroPython's bool is no int.
        if not isinstance(value, (int, float, bool)):
            raise RigFileError("%s: a number is needed, not %r" % (key, value))
        if value < 0 and key != "drum_taper_m_per_rad":
            raise RigFileError("%s: must not be negative (%r)" % (key, value))
    for key in ("inertia_kg_m2", "drum_radius_m"):
        if rig[key] == 0:
            raise RigFileError("%s: must be greater than 0; leave it out where it is unknown" % key)
    offsets = rig["magnet_offsets_rad"]
    if offsets is not None and (not isinstance(offsets, list) or len(offsets) != pulses):
        raise RigFileError("magnet_offsets_rad: one number for each of the %d magnets is needed" % pulses)


def _fill_in_preset(rig):
    # type: (dict[str, Any]) -> None
    preset = rig.get("brake_preset", "own")
    if isinstance(preset, str) and preset in PRESETS:
        rig["brake_target"], rig["brake_tolerance"] = PRESETS[preset]
    elif preset != "own":
        raise RigFileError("brake_preset: %r is none of own, first_quarter, last_third" % (preset,))


def _table(line, where):
    # type: (str, str) -> str
    end = line.find("]")
    if end < 0:
        raise RigFileError("%s: a [table] lacks its closing bracket" % where)
    return line[1:end].strip() + "."


def _value(text, where):
    # type: (str, str) -> Any
    if text[:1] == '"':
        end = text.find('"', 1)
        if end < 0:
            raise RigFileError("%s: a string lacks its closing quote" % where)
        return text[1:end]
    text = text.split("#")[0].strip()
    if text[:1] == "[":
        if text[-1] != "]":
            raise RigFileError("%s: an array must stand on one line" % where)
        return [_number(item.strip(), where) for item in text[1:-1].split(",") if item.strip()]
    if text in ("true", "false"):
        return text == "true"
    return _number(text, where)


def _number(text, where):
    # type: (str, str) -> Any
    plain = text.replace("_", "")
    try:
        return int(plain)
    except ValueError:
        pass
    try:
        value = float(plain)
    except ValueError:
        raise RigFileError("%s: %r is no number, string, true/false or array" % (where, text))
    if value != value or value in (float("inf"), float("-inf")):
        raise RigFileError("%s: %r is not a usable number" % (where, text))
    return value
