"""What each set adds up to, worked out by SQLite: years of training in one question.

The rules are those of ``StoredRep``: momentum reps and reps taken out by hand do not count; doubtful ones count as
done, but no figure rests on them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

from brakebeat.store.clock import from_stored
from brakebeat.store.connection import Store
from brakebeat.store.queries import Which
from brakebeat.store.rep_rows import DOUBTFUL, PHASES


class Sum(NamedTuple):
    """A figure over the reps that have it."""

    total: float
    reps: int

    @property
    def mean(self) -> float | None:
        """None where no rep has the figure."""
        return self.total / self.reps if self.reps else None


class Timing(NamedTuple):
    """How many reps were braked when; ``unknown``: it could not be told."""

    early: int = 0
    inside: int = 0
    late: int = 0
    none: int = 0
    unknown: int = 0

    @property
    def told(self) -> int:
        """Reps whose timing is known."""
        return self.early + self.inside + self.late + self.none

    @property
    def late_share(self) -> float | None:
        """Late or not at all, of those told; None where none is."""
        return (self.late + self.none) / self.told if self.told else None


class Working(NamedTuple):
    """The reps that a set's figures rest on, as SQLite adds them up: totals, each over so many reps that have it.

    Greatest figures are None where no rep has them. ``peak_stands_in``: of so many reps the speed at φ = 0 is not
    known, the peak is in the acceleration instead.
    """

    reps: int
    concentric_j: float
    eccentric_j: float
    greatest_peak_rad_s: float | None
    greatest_power_w: float | None
    greatest_force_n: float | None
    peak_stands_in: int
    early: int
    inside: int
    late: int
    none: int
    peak_total_rad_s: float
    peak_reps: int
    power_total_w: float
    power_reps: int
    eccentric_total_w: float
    eccentric_reps: int
    ratio_peak_total: float
    ratio_peak_reps: int
    ratio_mean_total: float
    ratio_mean_reps: int
    acceleration_total_rad_s2: float
    acceleration_reps: int

    @property
    def peak_rad_s(self) -> Sum:
        """Peak angular velocity."""
        return Sum(self.peak_total_rad_s, self.peak_reps)

    @property
    def power_w(self) -> Sum:
        """Concentric mean power."""
        return Sum(self.power_total_w, self.power_reps)

    @property
    def eccentric_power_w(self) -> Sum:
        """Eccentric mean power."""
        return Sum(self.eccentric_total_w, self.eccentric_reps)

    @property
    def ratio_peak_power(self) -> Sum:
        """Eccentric ÷ concentric peak power."""
        return Sum(self.ratio_peak_total, self.ratio_peak_reps)

    @property
    def ratio_mean_power(self) -> Sum:
        """Eccentric ÷ concentric mean power."""
        return Sum(self.ratio_mean_total, self.ratio_mean_reps)

    @property
    def acceleration_rad_s2(self) -> Sum:
        """Mean concentric angular acceleration."""
        return Sum(self.acceleration_total_rad_s2, self.acceleration_reps)

    @property
    def timing(self) -> Timing:
        """When the reps were braked."""
        told = (self.early, self.inside, self.late, self.none)
        return Timing(*told, self.reps - sum(told))


class SetSums(NamedTuple):
    """A set without its reps. ``all_reps``: with momentum reps and those taken out; ``counting``: without.

    ``concentric_j``, ``eccentric_j``: of the counting reps whose energy is known.
    """

    id: int
    session_id: int
    position: int
    exercise: str
    inertia_kg_m2: float | None
    started: datetime
    all_reps: int
    counting: int
    concentric_j: float
    eccentric_j: float
    working: Working


def set_sums(store: Store, which: Which) -> list[SetSums]:
    """Sets that are not deleted, in order of time."""
    with store.reading():
        return _set_sums(store, *which.sql())


def _set_sums(store: Store, where: str, values: Sequence[Any]) -> list[SetSums]:
    all_reps = dict(
        store.stream(f"SELECT computation_id, count(*) FROM {_reps(where)} GROUP BY computation_id", values)
    )
    working = {
        computation: Working._make(sums)
        for computation, *sums in store.stream(
            f"SELECT computation_id, {_DOSE}, {_FIGURES} FROM {_reps(where)} AND {_COUNTS} AND {_SOUND}"
            " GROUP BY computation_id",
            values,
        )
    }
    doubtful = {
        computation: dose
        for computation, *dose in store.stream(
            f"SELECT computation_id, {_DOSE} FROM {_reps(where)} AND flags <> '' AND {_COUNTS} AND NOT {_SOUND}"
            " GROUP BY computation_id",
            values,
        )
    }
    sql = (
        "SELECT computation_id, id, session_id, position, exercise, inertia_kg_m2, started_ms, utc_offset_min"
        f" FROM live_set WHERE {where} ORDER BY started_ms, session_id, position"
    )
    made = []
    for computation, *about, started_ms, offset_min in store.stream(sql, values):
        sums = working.get(computation, _NOTHING)
        dose: Sequence[float] = sums[:3]
        if computation in doubtful:
            dose = [a + b for a, b in zip(sums[:3], doubtful[computation], strict=True)]
        count, started = all_reps.get(computation, 0), from_stored(started_ms, offset_min)
        made.append(SetSums._make((*about, started, count, *dose, sums)))
    return made


@dataclass(frozen=True)
class Above:
    """Reps whose peak force passed a force, of those that have one."""

    above: int
    of: int

    @property
    def share(self) -> float | None:
        """``above`` ÷ ``of``; None where no force is known."""
        return self.above / self.of if self.of else None


def reps_above(store: Store, which: Which, exercise: str, force_n: float) -> tuple[Above, Above]:
    """An exercise's working reps with a concentric, and with an eccentric peak force greater than ``force_n``."""
    where, values = which.sql()
    counts = ", ".join(
        f"ifnull(sum({phase}_peak_force_n > ?), 0), count({phase}_peak_force_n)" for phase in PHASES
    )
    sql = f"SELECT {counts} FROM {_reps(f'{where} AND exercise = ?')} AND {_COUNTS} AND {_SOUND}"
    row = store.row(sql, (force_n, force_n, *values, exercise))
    assert row is not None
    return Above(row[0], row[1]), Above(row[2], row[3])


def _reps(where: str) -> str:
    return f"rep WHERE computation_id IN (SELECT computation_id FROM live_set WHERE {where})"


_COUNTS = (
    "NOT momentum AND (computation_id, rep_index) NOT IN (SELECT rep.computation_id, rep.rep_index FROM rep_mark"
    " JOIN work_set ON work_set.id = rep_mark.set_id JOIN rep ON rep.computation_id = work_set.computation_id"
    " AND rep.start_us <= rep_mark.at_us AND rep_mark.at_us < rep.end_us WHERE rep_mark.deleted_ms IS NULL)"
)
_HAS_FLAG = " OR ".join(f"instr(' ' || flags || ' ', ' {flag} ')" for flag in sorted(DOUBTFUL))
_SOUND = f"(flags = '' OR NOT ({_HAS_FLAG}))"
_DURATION_S = "ifnull(nullif(concentric_duration_s, 0), (extension_us - start_us) * 1e-6)"
# In the order of Working.
_SUMMED = (
    "peak_rad_s",
    "concentric_mean_power_w",
    "eccentric_mean_power_w",
    "eccentric_peak_power_w / nullif(concentric_peak_power_w, 0)",
    "eccentric_mean_power_w / nullif(concentric_mean_power_w, 0)",
    f"iif({_DURATION_S} > 0, ifnull(extension_rad_s, peak_rad_s) / {_DURATION_S}, NULL)",
)
_DOSE = "count(*), total(concentric_energy_j), total(eccentric_energy_j)"
_FIGURES = ", ".join(
    [
        "max(peak_rad_s), max(concentric_mean_power_w), max(concentric_peak_force_n), sum(extension_rad_s IS NULL)",
        *(f"ifnull(sum(brake_timing = '{word}'), 0)" for word in Timing._fields[:-1]),
        *(f"total({figure}), count({figure})" for figure in _SUMMED),
    ]
)
_NOTHING = Working._make((0, 0.0, 0.0, None, None, None, 0, *[0] * 4, *[0.0, 0] * len(_SUMMED)))
