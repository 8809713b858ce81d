"""A session as one JSON document, the whole of what a page shows. Times are spans, so no clock has to agree."""

from __future__ import annotations

from typing import Any

from brakebeat.coach.choice import CAUTION
from brakebeat.coach.effort import Best
from brakebeat.coach.session import CoachSession, RepRow, SetRow
from brakebeat.results import finite


def session_document(session: CoachSession, now_s: float) -> dict[str, Any]:
    """What is the case at ``now_s``; null is unknown, floats are finite."""
    choice, live, current = session.choice, session.live, session.current
    plan, rig = choice.plan, choice.rig
    document = {
        "athlete": choice.athlete,
        "exercise": choice.exercise,
        "rig": rig.name,
        "caution": CAUTION,
        "warning": session.warning,
        "connected": session.connected,
        "link": session.link,
        "stage": session.stage(now_s),
        "rested_s": session.rested_s(now_s),
        "plan": {
            "sets": plan.sets,
            "reps": plan.reps,
            "momentum_reps": rig.momentum_reps,
            "rest_s": plan.rest_s,
        },
        "target": {"peak_rad_s": plan.target_rad_s, "power_w": plan.target_w},
        "window": [rig.brake_target - rig.brake_tolerance, rig.brake_target + rig.brake_tolerance],
        "best": _best(session.best),
        "live": None if live is None else {"phase": live.phase, "speed_rad_s": abs(live.speed_rad_s)},
        "cue": session.last_cue,
        "earlier": session.earlier,
        "set": None if current is None else _set(current),
    }
    return finite(document)


def _best(best: Best) -> dict[str, float | None]:
    return {"peak_rad_s": best.peak_rad_s, "power_w": best.power_w}


def _set(current: SetRow) -> dict[str, Any]:
    return {
        "number": current.number,
        "counting": current.counting,
        "momentum": current.momentum,
        "stop": current.stop,
        "best": _best(current.best),
        "reps": [_rep(row) for row in current.rows[-30:]],
    }


def _rep(row: RepRow) -> dict[str, Any]:
    rep = row.rep
    return {
        "index": rep.index,
        "number": row.number,
        "momentum": rep.momentum,
        "peak_rad_s": rep.peak_rad_s,
        "power_w": rep.concentric.mean_power_w,
        "brake_fraction": rep.brake_fraction,
        "brake_timing": rep.brake_timing,
        "drop_peak": row.drop.peak,
        "drop_power": row.drop.power,
        "stop": row.drop.stop,
        "cues": [cue.kind for cue in row.cues],
        "flags": rep.flags,
    }
