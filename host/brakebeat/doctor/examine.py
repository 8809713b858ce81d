"""Judges a recording of a hand-spun wheel against its rig file."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binom

from brakebeat.calibrate.runs import coarse_speed, free_run, seconds
from brakebeat.calibrate.tracking import steady
from brakebeat.doctor.edges import Edges, read_edges
from brakebeat.doctor.findings import Checkup, Level
from brakebeat.doctor.turns import Turn, edges_of_a_turn
from brakebeat.errors import InputError
from brakebeat.formats.recording import Recording

_DEGREES = 180.0 / np.pi
# Below the first all is well, from the second on it has to be mended. Each is where `check` on simulated rigs begins
# to show it in the figures of a rep, or well below.
_BOUNCED = (0.005, 0.10)
_STRAY_PER_S = (0.05, 1.0)
_JITTER_US = (30.0, 120.0)
_MISSED = (0.002, 0.02)
# A magnet is the odd one where chance would make it miss that often in one rig of a thousand only.
_CHANCE = 1e-3
_NEVER = 0.9
_EXPLAINED = 0.3
_FAST, _SLOW, _TOO_MANY_PUSHES = 0.7, 0.4, 4
_STALE_RAD = 0.5 / _DEGREES
_FEW_TURNS = 8.0
_CLOSER = "move the sensor closer to the ring (2 to 4 mm from a usual magnet; common practice, no source)"


def examine(recording: Recording) -> Checkup:
    """Every check that edges alone allow. What is wrong with the edges is a finding.

    Raises ``InputError`` only where the wheel was driven again and again, as in a set: that tells nothing here.
    """
    checkup = Checkup()
    magnets = recording.rig.pulses_per_rev
    t_s = seconds(recording.t_us)
    if len(t_s) >= 2 * magnets + 8:
        _refuse_a_set(t_s, magnets, recording.path)
    try:
        run = free_run(t_s, magnets, "the edges")
        kept = steady(t_s[run.peak : run.end + 1], width=max(9, 2 * magnets + 1))
    except InputError as error:
        checkup.add("edges", "mend", str(error), _SPIN_AGAIN, edges=len(t_s))
        return checkup
    turn = edges_of_a_turn(np.diff(t_s[run.peak : run.end + 1][kept]), magnets)
    edges, trouble = _sorted_out(recording)
    if edges is not None and turn.contradicted_by(magnets) and _explained(edges):
        turn = Turn(magnets, True)
    _judge_turn(checkup, turn, magnets)
    if edges is None:
        if checkup.level("edges_per_turn") != "mend":
            checkup.add("edges", "mend", trouble, f"{_SPIN_AGAIN}; {_QUIET}", edges=len(t_s))
        return checkup
    turns = edges.spin.fit.turns
    few = turns < _FEW_TURNS
    checkup.add(
        "edges",
        "look" if few else "good",
        f"{len(t_s)} edges, {turns:.0f} free turns, fastest {edges.spin.fit.coasting.speed_rad_s:.1f} rad/s",
        "spin faster and let it run out: more turns tell more" if few else "",
        edges=len(t_s),
        turns=turns,
    )
    if checkup.level("edges_per_turn") == "mend" and turn.places is None:
        # Counted by a wrong number, no magnet can be told from another.
        return checkup
    _judge_magnets(checkup, edges)
    _judge_extra(checkup, edges)
    _judge_jitter(checkup, edges)
    _judge_run(checkup, edges)
    _judge_table(checkup, edges, recording)
    return checkup


_QUIET = "keep the sensor's wire away from motors and supplies: edges from nowhere look like that, too"
_SPIN_AGAIN = (
    "take the strap off, spin the wheel by hand and let it run until it stands; if that was done: check pin and wires, "
    "which side of the magnets faces the sensor (a hall switch answers to one pole), and its distance"
)


def _refuse_a_set(t_s: NDArray[np.float64], magnets: int, path: str) -> None:
    _, speed = coarse_speed(t_s, magnets)
    # A few stray edges must not be the fastest.
    top = float(np.quantile(speed, 0.98))
    # Up to fast after having been slow; what lies between changes nothing.
    states = np.where(speed > _FAST * top, 1, np.where(speed < _SLOW * top, -1, 0))
    states = states[states != 0]
    pushes = int((np.diff(np.concatenate([[-1], states])) > 0).sum())
    if pushes >= _TOO_MANY_PUSHES:
        raise InputError(
            f"{path}: the wheel was driven {pushes} times, as in a set; the doctor needs one that is spun by hand "
            "once, strap off, and left alone until it stands"
        )


def _sorted_out(recording: Recording) -> tuple[Edges | None, str]:
    try:
        return read_edges(recording), ""
    except InputError as error:
        return None, str(error)


def _explained(edges: Edges) -> bool:
    """Whether where the magnets sit explains the edges far better than even spacing: then they are counted right."""
    fit = edges.spin.fit
    known = fit.offset_rad[~np.isnan(fit.offset_rad)]
    left = np.hypot(fit.angle_sigma_rad, fit.time_sigma_s * 0.5 * fit.coasting.speed_rad_s)
    return len(known) > 1 and bool(left < _EXPLAINED * known.std())


def _judge_turn(checkup: Checkup, turn: Turn, magnets: int) -> None:
    figures: dict[str, Any] = {"rig": magnets, "seen": turn.count}
    if turn.count is None and turn.agrees:
        checkup.add(
            "edges_per_turn",
            "unknown",
            f"the spacing is too even (or the turns too few) to count them; nothing speaks against {magnets}",
            "to be sure, turn the wheel by hand ten times and see that it gives ten times as many edges",
            **figures,
        )
    elif turn.agrees:
        checkup.add("edges_per_turn", "good", f"{magnets} edges a turn, as the rig file says", **figures)
    elif turn.places is not None:
        checkup.add(
            "edges_per_turn",
            "mend",
            f"{turn.count} edges a turn, the rig file says {magnets}: the gaps fit {magnets} magnets of which "
            f"{magnets - len(turn.places)} never give an edge",
            "see which below; or set pulses_per_rev in the rig file, if there are no more magnets",
            **figures,
        )
    else:
        seen = f"{turn.count} edges a turn" if turn.count is not None else "another number of edges a turn"
        checkup.add(
            "edges_per_turn",
            "mend",
            f"{seen}, the rig file says {magnets}",
            "count the magnets and set pulses_per_rev; if the count is right, one magnet gives two edges (turn it "
            "round, or move the sensor away) or a screw passes the sensor, too",
            **figures,
        )


def _judge_magnets(checkup: Checkup, edges: Edges) -> None:
    offsets = edges.offsets.estimate["offsets_rad"]
    assert isinstance(offsets, list)
    bad: list[int] = []
    for number in range(edges.spin.magnets):
        passes, missed = int(edges.passes[number]), int(edges.missed[number])
        following = None if edges.next_places is None else int(edges.next_places[number])
        row: dict[str, Any] = {
            "magnet": number + 1,
            "magnet_sure": edges.first_sure,
            "comes_as": following,
            "passes": passes,
            "missed": missed,
            "offset_rad": offsets[number],
        }
        checkup.magnets.append(row)
        if passes and missed >= _NEVER * passes:
            bad.append(number)
            checkup.add(
                "magnets",
                "mend",
                f"magnet {number + 1} never gave an edge in {passes} turns",
                f"{_which(following)}see whether it is there and which pole faces the sensor; turn it round if it is "
                "the wrong one, replace it if it is weak",
                **row,
            )
        elif _odd_one(edges, number):
            bad.append(number)
            checkup.add(
                "magnets",
                "mend",
                f"magnet {number + 1} was missed in {missed} of {passes} turns",
                f"{_which(following)}it is weak or sits too far from the sensor: move it closer, or replace it",
                **row,
            )
    others = np.setdiff1d(np.arange(edges.spin.magnets), bad)
    missed, passes = int(edges.missed[others].sum()), int(edges.passes[others].sum())
    share = missed / max(passes, 1)
    if share >= _MISSED[0] and missed >= 2:
        level = "mend" if share >= _MISSED[1] else "look"
        checkup.add(
            "magnets",
            "mend" if level == "mend" else "look",
            f"{missed} of {passes} passes gave no edge, no magnet more than the others",
            f"{_CLOSER}; check the pull-up and the supply of the sensor",
            passes=passes,
            missed=missed,
        )
    elif not bad:
        checkup.add("magnets", "good", f"every magnet gave its edge ({missed} of {passes} missed)")


def _which(following: int | None) -> str:
    """How to find it at the wheel."""
    if following is None:
        return "(counted from the one that came first after the wheel stood) "
    place = "next" if following == 1 else f"as number {following}"
    return f"(it comes to the sensor {place} if you go on turning the same way) "


def _odd_one(edges: Edges, number: int) -> bool:
    """Whether a magnet is missed more often than the others' rate makes believable."""
    missed, passes = int(edges.missed[number]), int(edges.passes[number])
    if missed < 2:
        return False
    others = np.arange(edges.spin.magnets) != number
    # Half a miss more than was seen: with few passes a rate of 0 is not known to be 0.
    rate = (int(edges.missed[others].sum()) + 0.5) / (int(edges.passes[others].sum()) + 1)
    return bool(binom.sf(missed - 1, passes, min(rate, 0.5)) < _CHANCE / edges.spin.magnets)


def _judge_extra(checkup: Checkup, edges: Edges) -> None:
    bounced, strays = edges.bounces / edges.kept, edges.strays / edges.span_s
    checkup.add(
        "bounce",
        _level(bounced, _BOUNCED) if edges.bounces > 1 else "good",
        f"{edges.bounces} edges followed their own magnet's within 1.5 ms ({100 * bounced:.1f} %)",
        "a hall switch with hysteresis does not bounce; a reed contact does: add 10 nF from signal to ground at the "
        "board, shorten the wire"
        if bounced >= _BOUNCED[0]
        else "",
        bounces=edges.bounces,
        share=bounced,
    )
    checkup.add(
        "noise",
        _level(strays, _STRAY_PER_S) if edges.strays > 1 else "good",
        f"{edges.strays} edges from nowhere ({strays:.2f} a second)",
        "keep the sensor's wire away from motors and supplies, twist or shield it, add a pull-up of 10 kΩ at the "
        "board, join the grounds in one place"
        if strays >= _STRAY_PER_S[0]
        else "",
        strays=edges.strays,
        per_s=strays,
    )


def _judge_jitter(checkup: Checkup, edges: Edges) -> None:
    jitter_us = edges.spin.fit.time_sigma_s * 1e6
    level = _level(jitter_us, _JITTER_US)
    checkup.add(
        "jitter",
        level,
        f"time stamps scatter by {jitter_us:.0f} us (standard deviation)",
        "see which source of edges the board uses (a PIO stamps steadily), that nothing else runs on it, and that "
        "magnets and sensor sit firmly"
        if level != "good"
        else "",
        time_us=jitter_us,
        angle_rad=edges.spin.fit.angle_sigma_rad,
    )


def _judge_run(checkup: Checkup, edges: Edges) -> None:
    if "unbalanced" in edges.spin.flags:
        checkup.add(
            "free_run",
            "look",
            "the wheel gains and loses speed once a turn: it is out of balance",
            "balance it before you train with it: put weight opposite to where it comes to rest, firmly",
        )
    elif "not_free" in edges.spin.flags:
        checkup.add(
            "free_run",
            "look",
            "the wheel does not slow down steadily",
            "something may rub (guard, strap, bearing), a magnet may be loose, or a hand was still on it",
        )
    else:
        checkup.add("free_run", "good", "the wheel slows down steadily")


def _judge_table(checkup: Checkup, edges: Edges, recording: Recording) -> None:
    table = recording.rig.magnet_offsets_rad
    measured = edges.offsets.estimate["offsets_rad"]
    if table is None or not isinstance(measured, list) or len(table) < 2 or None in measured:
        return
    found = np.array(measured, float)
    stored = np.array(table) - np.mean(table)
    # A table is cyclic, and the wheel may have turned the other way when it was made.
    ways = [np.roll(way, shift) for way in (stored, -stored[::-1]) for shift in range(len(stored))]
    off_rad = min(float(np.abs(way - found).max()) for way in ways)
    stale = off_rad > _STALE_RAD
    checkup.add(
        "magnet_table",
        "mend" if stale else "good",
        f"the rig file's magnet_offsets_rad are {'up to' if stale else 'within'} {off_rad:.4f} rad "
        f"({off_rad * _DEGREES:.2f}°) {'off' if stale else 'of what turns'}",
        "has a magnet moved? Fix it mechanically, then `brakebeat calibrate magnets` again" if stale else "",
        off_rad=off_rad,
    )


def _level(value: float, limits: tuple[float, float]) -> Level:
    return "good" if value < limits[0] else "look" if value < limits[1] else "mend"
