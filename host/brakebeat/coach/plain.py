"""A session as plain lines, for a standard output that is no terminal."""

from __future__ import annotations

from brakebeat.coach.choice import CAUTION, Choice
from brakebeat.coach.session import CoachSession, Placed, RepRow
from brakebeat.link import Connected, CueHeard, Event, LinkLost, RecordsGone, Waiting, words
from brakebeat.screen import or_dash
from brakebeat.wording import counted


def opening(choice: Choice) -> str:
    """What is about to be done, and the caution."""
    plan = choice.plan
    return (
        f"{choice.athlete}, {choice.exercise}: {counted(plan.sets, 'set')} of {counted(plan.reps, 'rep')} after "
        f"{counted(choice.rig.momentum_reps, 'momentum rep')}, {plan.rest_s:g} s rest. {CAUTION}"
    )


def closing(session: CoachSession) -> list[str]:
    """What was done, a line a set."""
    lines = []
    for one in session.sets:
        best = "" if one.best.peak_rad_s is None else f", best {one.best.peak_rad_s:.2f} rad/s"
        lines.append(
            f"set {one.number}: {counted(one.counting, 'rep')} and {counted(one.momentum, 'momentum rep')}{best}"
        )
    if session.edges_kept and session.sets:
        lines.append("the raw edges are kept with the sets: `brakebeat log recompute`, curves in the report")
    elif session.no_edges:
        lines.append(f"no raw edges, so no curves in the report: {session.no_edges}")
    if session.earlier:
        lines.append(
            f"{counted(session.earlier, 'rep')} from before: assigned to nobody, see `brakebeat log`"
        )
    return lines


class PlainCoach:
    """Prints a line for each thing that happens."""

    def __init__(self, session: CoachSession) -> None:
        self._session = session

    def show(self, event: Event, placed: Placed | None) -> None:
        """Print it."""
        for line in self._lines(event, placed):
            print(line, flush=True)

    def _lines(self, event: Event, placed: Placed | None) -> list[str]:
        if placed is not None:
            return self._rep_lines(placed)
        if isinstance(event, Connected):
            careful = [f"CAREFUL {self._session.warning}"] if self._session.warning else []
            return [f"connected to {event.name}", *careful]
        if isinstance(event, CueHeard):
            return [words.cue_line(event.kind)]
        if isinstance(event, LinkLost):
            return [f"link lost: {event.reason}"]
        if isinstance(event, Waiting):
            return [words.waiting_line(event.attempt, event.attempts, event.pause_s)]
        if isinstance(event, RecordsGone):
            return [words.gone_line(event.first, event.last)]
        return []

    def _rep_lines(self, placed: Placed) -> list[str]:
        current = self._session.current
        if placed.row is None or current is None:
            return ["a rep from before this session: kept, assigned to nobody"]
        plan = self._session.choice.plan
        lines = [f"set {current.number} of {plan.sets}"] if len(current.rows) == 1 else []
        lines.append(rep_line(placed.row, plan.reps))
        if placed.row.drop.stop:
            lines.append("STOP    effort has dropped off: brake, let the wheel stop, end the set")
        if not placed.row.rep.momentum and current.counting == plan.reps:
            over = current.number >= plan.sets
            lines.append("set done: all sets done" if over else f"set done: rest {plan.rest_s:g} s")
        return lines


def rep_line(row: RepRow, planned: int) -> str:
    """A rep: number, figures, brake, and how far below the set's best."""
    number = f"momentum {row.number}" if row.rep.momentum else f"{row.number} of {planned}"
    rep = row.rep
    power = or_dash(rep.concentric.mean_power_w)
    brake = "" if rep.brake_fraction is None else f" {rep.brake_fraction:.2f}"
    return (
        f"rep {number:10}  peak {rep.peak_rad_s:6.2f} rad/s  power {power:>4} W  "
        f"brake {words.TIMING_WORDS[rep.brake_timing]}{brake}{below(row)}"
    )


def below(row: RepRow) -> str:
    """How far a rep is below the best, in words; empty where that says nothing."""
    parts = [
        f"{name} −{share:.0%}"
        for name, share in (("speed", row.drop.peak), ("power", row.drop.power))
        if share is not None and share >= 0.005
    ]
    return f"  below best: {', '.join(parts)}" if parts else ""
