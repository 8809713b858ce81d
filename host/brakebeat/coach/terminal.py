"""A session in big letters on a terminal, drawn again as it changes."""

from __future__ import annotations

import time
from typing import Self

from rich.columns import Columns
from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.table import Table
from rich.text import Text

from brakebeat.coach.choice import CAUTION
from brakebeat.coach.digits import big
from brakebeat.coach.plain import rep_line
from brakebeat.coach.session import CoachSession, Placed, RepRow
from brakebeat.link import Event

_STAGES = {"ready": "READY", "set": "REP", "rest": "SET OVER: REST", "finished": "ALL SETS DONE"}
_BAR = 40


class TerminalCoach:
    """Open while the screen is shown."""

    def __init__(self, session: CoachSession, console: Console | None = None) -> None:
        self._session = session
        self._console = console or Console()
        # Drawn by its own thread ten times a second: the rest clock runs when nothing arrives.
        self._live = Live(
            get_renderable=self._draw,
            console=self._console,
            screen=True,
            refresh_per_second=10,
            transient=True,
        )

    def __enter__(self) -> Self:
        self._live.start()
        return self

    def __exit__(self, *exception: object) -> None:
        self._live.stop()

    def show(self, event: Event, placed: Placed | None) -> None:
        """A rep is drawn at once, all else with the next picture."""
        if placed is not None:
            self._live.refresh()

    def _draw(self) -> RenderableType:
        return screen(self._session, time.time(), self._console.height)


def screen(session: CoachSession, now_s: float, height: int) -> RenderableType:
    """The whole screen."""
    choice = session.choice
    mark = "●" if session.connected else "○"
    head = Text(f"{choice.athlete} · {choice.exercise}   {mark} {session.link}", style="bold")
    parts: list[RenderableType] = [head, Text(CAUTION, style="bold")]
    if session.warning:
        parts.append(Text(f"CAREFUL: {session.warning}", style="bold reverse"))
    parts += [_counts(session, now_s), _bars(session), *_verdict(session, now_s), Text("")]
    rows = session.current.rows if session.current else []
    for row in rows[-max(1, height - 17) :]:
        parts.append(Text(rep_line(row, choice.plan.reps), no_wrap=True, overflow="ellipsis"))
    return Group(*parts)


def _counts(session: CoachSession, now_s: float) -> RenderableType:
    plan, current, stage = session.choice.plan, session.current, session.stage(now_s)
    number = current.number if current else 1
    row = current.rows[-1] if current else None
    momentum = stage == "set" and row is not None and row.rep.momentum
    title = "MOMENTUM REP" if momentum else _STAGES[stage]
    count = f"m{row.number}" if row and row.rep.momentum else str(current.counting if current else 0)
    wanted = session.choice.rig.momentum_reps if momentum else plan.reps
    left_s, rested_s = session.rest_left_s(now_s), session.rested_s(now_s)
    clock = left_s or rested_s or 0.0
    name = "rest left" if left_s else "rest over, since last rep" if left_s == 0 else "since last rep"
    return Columns(
        [
            Text(f"\n{title}   set {number} of {plan.sets}\n{big(f'{count}/{wanted}')}   "),
            Text(f"\n{name}\n{big(f'{int(clock) // 60}:{int(clock) % 60:02d}')}"),
        ],
        padding=(0, 6),
    )


def _bars(session: CoachSession) -> RenderableType:
    current, live, plan = session.current, session.live, session.choice.plan
    row: RepRow | None = current.rows[-1] if current else None
    turning = live is not None and live.phase != "idle"
    speed = abs(live.speed_rad_s) if live is not None and turning else row.rep.peak_rad_s if row else None
    power = row.rep.concentric.mean_power_w if row else None
    table = Table.grid(padding=(0, 1))
    best = current.best if current else session.best
    for name, value, most, target, before, unit in (
        ("speed", speed, best.peak_rad_s, plan.target_rad_s, row.rep.peak_rad_s if row else None, "rad/s"),
        ("power", power, best.power_w, plan.target_w, power, "W"),
    ):
        aim = "" if target is None else f"target ▽ {target:.0f}"
        top = "" if most is None else f"best ┃ {most:.0f}"
        figure = "–" if value is None else f"{value:.0f}"
        table.add_row(
            name, Text(f"{figure} {unit}", style="bold"), bar(value, most, target, before), top, aim
        )
    return table


def bar(value: float | None, best: float | None, target: float | None, before: float | None = None) -> str:
    """A bar of fixed width with marks at the best and the target; ``before``, the last rep's, has room in it."""
    full = 1.15 * max(value or 0.0, best or 0.0, target or 0.0, before or 0.0, 1e-9)
    filled = round(_BAR * (value or 0.0) / full)
    signs = ["█"] * filled + ["·"] * (_BAR - filled)
    for mark, sign in ((best, "┃"), (target, "▽")):
        if mark:
            signs[min(_BAR - 1, round(_BAR * mark / full))] = sign
    return "".join(signs)


def _verdict(session: CoachSession, now_s: float) -> list[Text]:
    current = session.current
    if current is not None and current.stop:
        return [
            Text(" ■ EFFORT HAS DROPPED OFF: brake, let the wheel stop, end the set ", style="bold reverse")
        ]
    stage = session.stage(now_s)
    return [Text(f" ✓ {_STAGES[stage]} ", style="bold reverse")] if stage in ("rest", "finished") else []
