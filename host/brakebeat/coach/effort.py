"""How far a rep is below its set's best, and whether that is far enough to stop."""

from __future__ import annotations

from dataclasses import dataclass

from brakebeat.formats.rig import Cues
from brakebeat.results import Rep


@dataclass(frozen=True)
class Drop:
    """Shares by which a rep stays below the best of its set before it, 0 to 1; None where there is none."""

    peak: float | None = None
    power: float | None = None
    stop: bool = False


@dataclass
class Best:
    """The greatest peak speed and the greatest concentric mean power; None before the first rep that counts."""

    peak_rad_s: float | None = None
    power_w: float | None = None

    def add(self, rep: Rep) -> None:
        """Take a rep that counts."""
        self.peak_rad_s = _greater(self.peak_rad_s, rep.peak_rad_s)
        self.power_w = _greater(self.power_w, rep.concentric.mean_power_w)

    def drop(self, rep: Rep, rule: Cues) -> Drop:
        """How ``rep`` compares; a share of 0 in the rule turns that test off, as on the board."""
        peak = _below(rep.peak_rad_s, self.peak_rad_s)
        power = _below(rep.concentric.mean_power_w, self.power_w)
        return Drop(peak, power, _too_far(peak, rule.drop_off_peak) or _too_far(power, rule.drop_off_power))


def _greater(best: float | None, value: float | None) -> float | None:
    return best if value is None or (best is not None and best >= value) else value


def _below(value: float | None, best: float | None) -> float | None:
    return None if value is None or not best else max(0.0, 1.0 - value / best)


def _too_far(drop: float | None, allowed: float) -> bool:
    return bool(allowed) and drop is not None and drop > allowed
