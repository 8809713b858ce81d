"""Does the board say the same as the reference? Reps matched one to one, agreement, limits, verdict."""

from brakebeat.check.agreement import Agreement, bland_altman
from brakebeat.check.compare import FIGURES, FigureReport, FileReport, compare, pool
from brakebeat.check.limits import Limits, load_limits
from brakebeat.check.matching import Matching, match

__all__ = [
    "FIGURES",
    "Agreement",
    "FigureReport",
    "FileReport",
    "Limits",
    "Matching",
    "bland_altman",
    "compare",
    "load_limits",
    "match",
    "pool",
]
