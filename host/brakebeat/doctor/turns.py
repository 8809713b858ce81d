"""How many edges one turn has, from the edges alone: after a whole turn the same gaps come again.

No magnet sits exactly where even spacing has it, so that the gaps of a turn are a pattern of their own. Where gap and
gap one turn later differ least, there is the turn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brakebeat.calibrate.tracking import FINE

Array = NDArray[np.float64]

# Counts that fit nearly as well as the best fit as well: chance alone makes them differ by this factor.
_AS_GOOD = 2.0
# Where the rig file's count is a multiple of one that fits, and fits so much better still, it is the turn: magnets
# that happen to sit nearly alike twice a turn. So many turns are compared at most.
_FITS_BETTER, _COMPARED = 0.72, 8
# One magnet's gaps differ by less than this part of them from one to the next, once slowing down is taken out.
_EVEN = 1e-3
# A gap that is off by this (logarithm) from its neighbours a turn away was split or run together.
_SPLIT = 0.2
# A pattern counts as one where the gaps of a turn differ by so many times what a turn later differs.
_CLEAR = 4.0
# Low, since each bounced or missed edge spoils the comparison of a whole turn.
_QUANTILE = 0.3
# Whole microseconds alone make gaps of some 30 ms differ by this part of them.
_LEAST_DIFFERENCE = 3e-5
_FASTEST_PART = 0.7
_LEAST_TURNS = 4
# A gap belongs to so many magnets if it is this near (in spacings) to their distance.
_NEAR_PLACE = 0.3


@dataclass(frozen=True)
class Turn:
    """``count``: edges of one turn; None where every count fits (even spacing, too few turns).

    ``agrees``: whether the rig file's count fits. ``places``: where that count is smaller, but whole magnets of the
    rig file's are missing: the place of each edge among the rig file's magnets; else None. ``single``: the gaps are as
    even as those of one magnet, which no ring of several that was made by hand is.
    """

    count: int | None
    agrees: bool
    places: tuple[int, ...] | None = None
    single: bool = False

    def contradicted_by(self, magnets: int) -> bool:
        """Whether the count can be a mistake that single missed edges led to: no turn or part of one of ``magnets``."""
        return not self.agrees and (self.count is None or magnets % self.count != 0)


def edges_of_a_turn(gaps_s: Array, magnets: int) -> Turn:
    """Compare the rig file's ``magnets`` with gaps (n,) of a wheel that slows down, bounces taken out."""
    gaps = gaps_s[: max(int(_FASTEST_PART * len(gaps_s)), min(len(gaps_s), 60))]
    most = min(max(2 * magnets + 2, 8), len(gaps) // _LEAST_TURNS)
    if most < magnets:
        return Turn(None, True)
    differ = np.array([_differ(gaps, count) for count in range(1, most + 1)])
    best = float(differ.min())
    fits = differ <= _AS_GOOD * best
    # Twice the turn fits too, so the smallest that does is meant.
    first = int(np.argmax(fits)) + 1
    clear = first == 1 or float(differ[: first - 1].min()) >= _CLEAR * float(differ[first - 1])
    if first == 1 and clear and magnets < FINE and float(differ[0]) < _EVEN:
        return Turn(1 if magnets == 1 else None, True, single=magnets > 1)
    if first == 1 or not clear:
        return Turn(None, bool(fits[magnets - 1]) or not clear)
    if first == magnets or _nearly_alike(gaps, first, magnets):
        return Turn(magnets, True)
    return Turn(first, False, _places(gaps, first, magnets))


def _nearly_alike(gaps: Array, count: int, magnets: int) -> bool:
    """Whether gaps come again after ``magnets`` edges clearly better than after any other multiple of ``count``."""
    if magnets % count:
        return False
    most = min(_COMPARED * count, len(gaps) // _LEAST_TURNS)
    whole: list[float] = []
    part: list[float] = []
    for edges in range(count, most + 1, count):
        (part if edges % magnets else whole).append(_differ(gaps, edges))
    return bool(whole and part) and float(np.mean(whole)) < _FITS_BETTER * float(np.mean(part))


def split_share(gaps_s: Array, magnets: int) -> float:
    """The share of gaps (n,) that come again after no number of edges up to two turns': edges from nowhere split them.

    1 where there are too few to tell.
    """
    most = min(2 * magnets + 2, len(gaps_s) // _LEAST_TURNS)
    shares = [float(np.mean(_off(gaps_s, count) > _SPLIT)) for count in range(1, most + 1)]
    return min(shares, default=1.0)


def _off(gaps: Array, count: int) -> Array:
    ratio = np.log(gaps[count:] / gaps[:-count])
    # Against both neighbours: a wheel that slows down moves these ratios along a nearly straight line.
    return np.asarray(np.abs(ratio[1:-1] - 0.5 * (ratio[:-2] + ratio[2:])))


def _differ(gaps: Array, count: int) -> float:
    """How much gaps differ from those ``count`` edges later, once the wheel's slowing down is taken out."""
    return float(np.quantile(_off(gaps, count), _QUANTILE)) + _LEAST_DIFFERENCE


def _places(gaps: Array, count: int, magnets: int) -> tuple[int, ...] | None:
    """Places of ``count`` edges among ``magnets`` evenly spaced ones; None where they do not fit any."""
    if count >= magnets:
        return None
    turns = len(gaps) // count
    table = gaps[: turns * count].reshape(turns, count)
    share = np.median(table / table.sum(axis=1, keepdims=True), axis=0)
    strides = share * magnets / share.sum()
    whole = np.maximum(np.round(strides), 1.0)
    if whole.sum() != magnets or np.abs(strides - whole).max() > _NEAR_PLACE:
        return None
    return tuple(int(place) for place in np.concatenate([[0.0], np.cumsum(whole)[:-1]]))
