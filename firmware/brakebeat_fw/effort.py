"""Drop-off: is this rep's pull clearly weaker than the best of its set? Asked once a rep, at its extension."""

from .figures import Wheel


class EffortWatch:
    """Keeps the set's best pull; a share of 0 turns that test off."""

    def __init__(self, rig):
        # type: (dict[str, Any]) -> None
        self._peak_share = rig["cues.drop_off_peak"]
        self._power_share = rig["cues.drop_off_power"]
        self._wheel = Wheel(rig)
        self._best_peak = 0.0
        self._best_power = 0.0

    def new_set(self):
        # type: () -> None
        """Forget the best rep."""
        self._best_peak = self._best_power = 0.0

    def weaker(self, peak_rad_s, edge_rad_s, range_rad, duration_s):
        # type: (float, float, float, float) -> bool
        """Judge a pull by its peak speed and mean power (edge speed: at phi = 0) against the set's best so far."""
        wheel = self._wheel
        inertia = wheel.inertia_kg_m2
        if inertia is None:
            # Power up to a constant factor is enough for a comparison.
            inertia = 1.0
        lost_j = wheel.friction_nm(edge_rad_s / 2) * range_rad if wheel.inertia_kg_m2 is not None else 0.0
        power = (inertia * edge_rad_s * edge_rad_s / 2 + lost_j) / duration_s
        weak = False
        if self._peak_share and peak_rad_s < (1.0 - self._peak_share) * self._best_peak:
            weak = True
        if self._power_share and power < (1.0 - self._power_share) * self._best_power:
            weak = True
        self._best_peak = max(self._best_peak, peak_rad_s)
        self._best_power = max(self._best_power, power)
        return weak
