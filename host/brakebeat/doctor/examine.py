"""Judges a recording of a hand-spun wheel against its rig file."""

from __future__ import annotations

import dataclasses

import numpy as np

from brakebeat.calibrate.runs import free_run, refuse_a_set, seconds
from brakebeat.calibrate.tracking import steady
from brakebeat.doctor.edge_findings import judge_extra, judge_irregular, judge_jitter, judge_run
from brakebeat.doctor.edges import Edges, read_edges
from brakebeat.doctor.findings import Checkup
from brakebeat.doctor.magnet_findings import judge_magnets
from brakebeat.doctor.table_findings import judge_table
from brakebeat.doctor.turn_findings import judge_turn
from brakebeat.doctor.turns import Turn, edges_of_a_turn, split_share
from brakebeat.errors import InputError
from brakebeat.formats.recording import Recording
from brakebeat.wording import counted

_DEGREES = 180.0 / np.pi
_EXPLAINED = 0.3
_FEW_TURNS = 8.0
_SPUN_ONCE = "the doctor needs one that is spun by hand once, strap off, and left alone until it stands"


def examine(recording: Recording) -> Checkup:
    """Every check that edges alone allow. What is wrong with the edges is a finding.

    Raises ``InputError`` only where the wheel was driven again and again, as in a set: that tells nothing here.
    """
    checkup = Checkup()
    magnets = recording.rig.pulses_per_rev
    t_s = seconds(recording.t_us)
    if len(t_s) >= 2 * magnets + 8:
        refuse_a_set(t_s, magnets, recording.path, f"{_SPUN_ONCE}; if that was done: {_QUIET}")
    try:
        run = free_run(t_s, magnets, "the edges")
        kept = steady(t_s[run.peak : run.end + 1], width=max(9, 2 * magnets + 1))
    except InputError as error:
        checkup.add("edges", "mend", str(error), _SPIN_AGAIN, edges=len(t_s))
        return checkup
    gaps = np.diff(t_s[run.peak : run.end + 1][kept])
    turn = edges_of_a_turn(gaps, magnets)
    edges, trouble = _sorted_out(recording)
    if edges is not None and turn.contradicted_by(magnets) and _explained(edges):
        turn = Turn(magnets, True)
    if recording.rig.board.sensor == "quadrature":
        turn = dataclasses.replace(turn, single=False)
    judge_turn(checkup, turn, magnets, edges is not None)
    if edges is None:
        if checkup.level("edges_per_turn") != "mend":
            checkup.add("edges", "mend", trouble, f"{_SPIN_AGAIN}; {_QUIET}", edges=len(t_s))
            judge_irregular(checkup, split_share(gaps, magnets))
        return checkup
    turns = edges.spin.fit.turns
    few = turns < _FEW_TURNS
    checkup.add(
        "edges",
        "look" if few else "good",
        f"{counted(len(t_s), 'edge')}, {turns:.0f} free turns, fastest {edges.spin.fit.coasting.speed_rad_s:.1f} rad/s",
        "spin faster and let it run out: more turns tell more" if few else "",
        edges=len(t_s),
        turns=turns,
    )
    if checkup.level("edges_per_turn") == "mend" and turn.places is None:
        # Counted by a wrong number, no magnet can be told from another.
        return checkup
    judge_magnets(checkup, edges)
    judge_extra(checkup, edges)
    judge_jitter(checkup, edges)
    judge_run(checkup, edges)
    judge_table(checkup, edges, recording)
    return checkup


_QUIET = "keep the sensor's wire away from motors and supplies: edges from nowhere look like that, too"
_SPIN_AGAIN = (
    "take the strap off, spin the wheel by hand and let it run until it stands; if that was done: check pin and wires, "
    "which side of the magnets faces the sensor (a hall switch answers to one pole), and its distance"
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
