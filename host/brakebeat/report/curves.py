"""Pictures from a set's raw edges: speed about φ = 0, torque against angle, power against speed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element

from brakebeat.report.axes import Axis, Frame, mark
from brakebeat.report.figure import KeyEntry, figure
from brakebeat.report.figures import best_of, working
from brakebeat.report.motion import Course, Courses, greatest
from brakebeat.report.numbers import number
from brakebeat.store.queries import StoredSet
from brakebeat.store.rep_rows import StoredRep

# How a rep's line looks, by what it is; later ones are drawn on top.
_KINDS = ("momentum", "plain", "late", "best", "best late")
_KEY: dict[str, str] = {
    "best": "best rep of the set",
    "best late": "best rep of the set, braked late or not at all",
    "late": "braked late, or not at all",
    "plain": "other reps",
    "momentum": "momentum reps, reps taken out",
}


@dataclass(frozen=True)
class _Line:
    """A rep with its course and how it is drawn."""

    rep: StoredRep
    course: Course
    kind: str

    @property
    def words(self) -> str:
        rep = self.rep.rep
        return f"rep {self.rep.number}: peak {number(rep.peak_rad_s, 1)} rad/s, braking {rep.brake_timing or 'unknown'}"


def curve_figures(each: StoredSet, courses: Courses, key: str) -> list[Element]:
    """The pictures that the set's edges allow, each with its words."""
    lines = _lines(each, courses)
    if not lines:
        return []
    made = [_speed(lines, key)]
    if any(greatest([line.course.concentric], "torque_nm") > 0 for line in lines):
        made += [_torque(lines, key), _power(lines, key)]
    return made


def _lines(each: StoredSet, courses: Courses) -> list[_Line]:
    best = best_of(working(each))
    found = []
    for rep in each.reps:
        if rep.number not in courses.by_number:
            continue
        late = rep.rep.brake_timing in ("late", "none")
        if not rep.counts:
            kind = "momentum"
        elif best is not None and rep.number == best.number:
            kind = "best late" if late else "best"
        else:
            kind = "late" if late else "plain"
        found.append(_Line(rep, courses.by_number[rep.number], kind))
    return sorted(found, key=lambda line: _KINDS.index(line.kind))


def _key(lines: Sequence[_Line]) -> list[KeyEntry]:
    there = {line.kind for line in lines}
    return [("line", f"curve {kind}", words) for kind, words in _KEY.items() if kind in there]


def _halves(lines: Sequence[_Line]) -> list[tuple[_Line, str]]:
    return [(line, half) for line in lines for half in ("concentric", "eccentric")]


def _speed(lines: Sequence[_Line], key: str) -> Element:
    first = min(line.course.concentric.t_s[0] for line in lines)
    last = max(line.course.eccentric.t_s[-1] for line in lines)
    top = max(greatest([line.course.concentric, line.course.eccentric], "speed_rad_s") for line in lines)
    frame = Frame(
        Axis(first - 0.03, last + 0.03, "time from φ = 0, s"),
        Axis(0.0, 1.12 * top, "angular velocity, rad/s"),
    )
    drawn: list[Element | None] = [frame.upright(0.0, "zero")]
    drawn += _sides(frame, 1.06 * top)
    for line in lines:
        points = [
            point
            for half in (line.course.concentric, line.course.eccentric)
            for point in zip(half.t_s, half.speed_rad_s, strict=True)
        ]
        drawn.append(frame.line(points, f"curve {line.kind}", line.words))
    drawn += [_onset(frame, line) for line in lines]
    told = "; ".join(line.words for line in sorted(lines, key=lambda line: line.rep.number))
    picture = frame.picture("Angular velocity of each rep about φ = 0", f"{told}.", f"{key}-speed", *drawn)
    words = "Every rep of the set, laid over each other where the strap is fully paid out (φ = 0)."
    return figure(
        "Velocity, aligned at φ = 0", picture, words, [*_key(lines), ("mark", "diamond onset", "brake onset")]
    )


def _sides(frame: Frame, y: float) -> list[Element | None]:
    return [
        frame.text(0.0, y, "concentric ", "end", "soft", dy=-2),
        frame.text(0.0, y, " eccentric", "start", "soft", dy=-2),
    ]


def _onset(frame: Frame, line: _Line) -> Element | None:
    import numpy as np

    rep, half = line.rep.rep, line.course.eccentric
    if rep.brake_onset_us is None or not line.rep.counts:
        return None
    at_s = (rep.brake_onset_us - rep.extension_us) * 1e-6
    speed = float(np.interp(at_s, half.t_s, half.speed_rad_s))
    fraction = number(rep.brake_fraction, 2)
    words = f"rep {line.rep.number}: brake onset {number(at_s, 2)} s after φ = 0, brake fraction {fraction}"
    return mark("diamond", frame.px(at_s), frame.py(speed), words, f"onset {line.kind}", 3.4)


def _torque(lines: Sequence[_Line], key: str) -> Element:
    halves = [getattr(line.course, half) for line, half in _halves(lines)]
    reach = max(abs(float(half.angle_rad[0])) for half in halves)
    back = max(float(half.angle_rad[-1]) for half in halves)
    top = greatest(halves, "torque_nm")
    frame = Frame(
        Axis(-1.03 * reach, 1.03 * max(back, 1.0), "shaft angle from φ = 0, rad"),
        Axis(0.0, 1.12 * top, "torque, N·m"),
    )
    drawn: list[Element | None] = [frame.upright(0.0, "zero"), *_sides(frame, 1.06 * top)]
    drawn += [
        frame.line(
            zip(getattr(line.course, half).angle_rad, getattr(line.course, half).torque_nm, strict=True),
            f"curve {line.kind}",
            line.words,
        )
        for line, half in _halves(lines)
    ]
    words = (
        f"Torque of each rep against the shaft angle. The greatest is {number(top, 1)} N·m. "
        "Peak torques of each rep stand in the table."
    )
    picture = frame.picture("Torque against angle", words, f"{key}-torque", *drawn)
    return figure(
        "Torque and angle",
        picture,
        "The athlete's torque at the shaft (50 ms running mean), positive both ways: pulling on the left, "
        "braking on the right.",
        _key(lines),
    )


def _power(lines: Sequence[_Line], key: str) -> Element:
    halves = [getattr(line.course, half) for line, half in _halves(lines)]
    up = greatest([line.course.concentric for line in lines], "power_w")
    down = greatest([line.course.eccentric for line in lines], "power_w")
    top = greatest(halves, "speed_rad_s")
    frame = Frame(
        Axis(0.0, 1.06 * top, "angular velocity, rad/s"),
        Axis(-1.14 * max(down, 0.1 * up), 1.14 * up, "power, W", mirrored=True),
    )
    drawn: list[Element | None] = [
        frame.across(0.0, "zero"),
        frame.text(0.0, 1.05 * up, " put in (concentric)", css="soft", dy=2),
        frame.text(0.0, -1.09 * max(down, 0.1 * up), " taken out (eccentric)", css="soft", dy=2),
    ]
    for line in lines:
        con, ecc = line.course.concentric, line.course.eccentric
        drawn.append(
            frame.line(zip(con.speed_rad_s, con.power_w, strict=True), f"curve {line.kind}", line.words)
        )
        drawn.append(
            frame.line(zip(ecc.speed_rad_s, -ecc.power_w, strict=True), f"curve {line.kind}", line.words)
        )
    words = f"Power against speed; greatest concentric {number(up)} W, greatest eccentric {number(down)} W."
    picture = frame.picture("Power against angular velocity", words, f"{key}-power", *drawn)
    return figure(
        "Power and velocity",
        picture,
        "Above the middle line the athlete drives the wheel, below it the athlete brakes it; both count up "
        "from the line.",
        _key(lines),
    )
