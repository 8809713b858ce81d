"""One broken recording for each thing that can be wrong: bytes, line to blame, words of the message."""

from __future__ import annotations

from dataclasses import dataclass

GOOD = b"# brakebeat-pulses: 1\n# pulses_per_rev: 6\nt_us,step\n100,0\n200,0\n300,0\n"


@dataclass(frozen=True)
class Bad:
    name: str
    data: bytes
    line: int
    words: str


def _head(*lines: str, version: str = "# brakebeat-pulses: 1", pulses: str = "# pulses_per_rev: 6") -> bytes:
    return "\n".join([line for line in (version, pulses, *lines) if line] + ["t_us,step", ""]).encode()


def _edges(*lines: bytes, head: bytes = _head()) -> bytes:
    return head + b"".join(line + b"\n" for line in lines)


_WRAP = _head("# ticks_wrap: 1000")
_FEW = (b"100,0", b"200,0")

BAD = [
    # The head.
    Bad("empty", b"", 1, "empty"),
    Bad("blank lines only", b"\n\n\n", 4, "nothing but blank lines"),
    Bad("version unknown", _edges(*_FEW, head=_head(version="# brakebeat-pulses: 2")), 1, "version '2'"),
    Bad("version absent", _edges(*_FEW, head=_head(version="")), 2, "no line `# brakebeat-pulses: 1`"),
    Bad("version twice", _edges(*_FEW, head=_head("# brakebeat-pulses: 1")), 3, "second time"),
    Bad("pulses_per_rev absent", _edges(*_FEW, head=_head(pulses="")), 2, "pulses_per_rev is missing"),
    Bad("pulses_per_rev twice", _edges(*_FEW, head=_head("# pulses_per_rev: 6")), 3, "first on line 2"),
    Bad("unknown key twice", _edges(*_FEW, head=_head("# hall: a", "# hall: b")), 4, "second time"),
    Bad("pulses_per_rev zero", _edges(*_FEW, head=_head(pulses="# pulses_per_rev: 0")), 2, "from 1 to"),
    Bad("pulses_per_rev fraction", _edges(*_FEW, head=_head(pulses="# pulses_per_rev: 6.5")), 2, "whole"),
    Bad("pulses_per_rev empty", _edges(*_FEW, head=_head(pulses="# pulses_per_rev:")), 2, "whole number"),
    Bad("pulses_per_rev words", _edges(*_FEW, head=_head(pulses="# pulses_per_rev: six")), 2, "'six'"),
    Bad("inertia not a number", _edges(*_FEW, head=_head("# inertia_kg_m2: heavy")), 3, "inertia_kg_m2"),
    Bad("inertia negative", _edges(*_FEW, head=_head("# inertia_kg_m2: -0.07")), 3, "kg·m²"),
    Bad("inertia NaN", _edges(*_FEW, head=_head("# inertia_kg_m2: nan")), 3, "inertia_kg_m2"),
    Bad("radius infinite", _edges(*_FEW, head=_head("# drum_radius_m: inf")), 3, "drum_radius_m"),
    Bad("friction huge", _edges(*_FEW, head=_head("# friction_torque_nm: 1e300")), 3, "N·m"),
    Bad("number of 5000 digits", _edges(*_FEW, head=_head("# momentum_reps: " + "9" * 5000)), 3, "momentum_"),
    Bad("ticks_wrap one", _edges(*_FEW, head=_head("# ticks_wrap: 1")), 3, "ticks_wrap"),
    Bad("ticks_wrap not a number", _edges(*_FEW, head=_head("# ticks_wrap: 2^30")), 3, "ticks_wrap"),
    Bad("zero index negative", _edges(*_FEW, head=_head("# zero_index: -3")), 3, "zero_index"),
    Bad(
        "too few offsets", _edges(*_FEW, head=_head("# magnet_offsets_rad: [0.1, 0.2]")), 3, "2 offsets for 6"
    ),
    Bad("comment without a colon", _edges(*_FEW, head=_head("# made in the barn")), 3, "`# key: value`"),
    Bad("key without a name", _edges(*_FEW, head=_head("# : barn")), 3, "`# key: value`"),
    Bad("column line absent", _head().replace(b"t_us,step\n", b"") + b"100,0\n", 3, "column line"),
    Bad("time column only", _head().replace(b"t_us,step", b"t_us") + b"100\n", 3, "'step' is missing"),
    Bad("step column only", _head().replace(b"t_us,step", b"step") + b"0\n", 3, "'t_us' is missing"),
    Bad(
        "a column too many", _head().replace(b"t_us,step", b"t_us,step,adc") + b"100,0,5\n", 3, "column line"
    ),
    Bad("columns swapped", _head().replace(b"t_us,step", b"step,t_us") + b"0,100\n", 3, "column line"),
    Bad("cut in the header", _head()[:30], 2, "`# key: value`"),
    Bad("cut before the column line", _head().replace(b"t_us,step\n", b""), 3, "ends before the column line"),
    Bad("UTF-16", GOOD.decode().encode("utf-16"), 1, "UTF-16"),
    Bad(
        "header not UTF-8", _edges(*_FEW, head=_head("# maker: Jörg").decode().encode("latin-1")), 3, "UTF-8"
    ),
    Bad("NUL in the header", _edges(*_FEW, head=_head("# maker: a\0b")), 3, "NUL"),
    Bad("endless first line", b"# maker: " + b"x" * 200_000, 1, "longer than"),
    Bad("endless header", b"".join(b"# key%d: 1\n" % i for i in range(2000)), 1001, "no column line"),
    # The edges.
    Bad("no edges", _head(), 3, "no edges"),
    Bad("no edges but blank lines", _head() + b"\n\r\n", 3, "no edges"),
    Bad("step missing", _edges(*_FEW, b"300"), 6, "step column is missing"),
    Bad("three columns", _edges(*_FEW, b"300,0,0"), 6, "3 columns"),
    Bad("other separator", _edges(b"100;0"), 4, "step column is missing"),
    Bad("time with decimals", _edges(*_FEW, b"300.5,0"), 6, "'300.5' is not a whole number"),
    Bad("time with an exponent", _edges(*_FEW, b"3e5,0"), 6, "not a whole number"),
    Bad("time hexadecimal", _edges(*_FEW, b"0x12c,0"), 6, "not a whole number"),
    Bad("time with an underscore", _edges(*_FEW, b"3_00,0"), 6, "not a whole number"),
    Bad("time in foreign digits", _edges(*_FEW, "٣٠٠,0".encode()), 6, "not a whole number"),
    Bad("time empty", _edges(*_FEW, b",0"), 6, "not a whole number"),
    Bad("time NaN", _edges(*_FEW, b"nan,0"), 6, "not a whole number"),
    Bad("time infinite", _edges(*_FEW, b"inf,0"), 6, "not a whole number"),
    Bad("time negative", _edges(b"-5,0", *_FEW), 4, "negative"),
    Bad("time beyond 2^53", _edges(*_FEW, b"9007199254740992,0"), 6, "2^53"),
    Bad("time of 20 digits", _edges(*_FEW, b"18446744073709551616,0"), 6, "beyond any clock"),
    Bad("time of 5000 digits", _edges(*_FEW, b"9" * 5000 + b",0"), 6, "beyond any clock"),
    Bad("step two", _edges(*_FEW, b"300,2"), 6, "'2' is not -1, 0 or +1"),
    Bad("step with decimals", _edges(*_FEW, b"300,1.0"), 6, "not -1, 0 or +1"),
    Bad("step doubled sign", _edges(*_FEW, b"300,+-1"), 6, "not -1, 0 or +1"),
    Bad("step a sign only", _edges(*_FEW, b"300,-"), 6, "not -1, 0 or +1"),
    Bad("step empty", _edges(*_FEW, b"300,"), 6, "not -1, 0 or +1"),
    Bad("step NaN", _edges(*_FEW, b"300,nan"), 6, "not -1, 0 or +1"),
    Bad("backwards", _edges(*_FEW, b"150,0"), 6, "runs backwards by 50 us"),
    Bad("backwards, then a bad line", _edges(*_FEW, b"150,0", b"x"), 6, "runs backwards"),
    Bad("a bad line, then backwards", _edges(*_FEW, b"x", b"150,0"), 6, "step column is missing"),
    Bad("fall of half the wrap", _edges(b"900,0", b"400,0", head=_WRAP), 6, "no wrap"),
    Bad("small fall with a wrap", _edges(b"900,0", b"890,0", head=_WRAP), 6, "no wrap"),
    Bad("time at the wrap", _edges(b"900,0", b"1000,0", head=_WRAP), 6, "not below ticks_wrap"),
    Bad("blank line among edges", _edges(b"100,0", b"", b"200,0"), 5, "blank line"),
    Bad("header line among edges", _edges(b"100,0", b"# maker: me", b"200,0"), 5, "header line"),
    Bad("NUL among edges", _edges(*_FEW, b"\0" * 20), 6, "NUL"),
    Bad("edges not UTF-8", _edges(*_FEW, b"3\xff0,0"), 6, "UTF-8"),
    Bad("endless edge line", _head() + b"1" * 200_000, 4, "longer than"),
    Bad("cut in the last step", _edges(*_FEW) + b"300,+", 6, "not -1, 0 or +1"),
    Bad("cut in the last time", _edges(*_FEW) + b"30", 6, "step column is missing"),
]
