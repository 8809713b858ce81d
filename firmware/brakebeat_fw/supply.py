"""The supply's voltage on an analogue pin, behind a divider."""


class Supply:
    """Reads it. The rig file gives the pin, the divider's ratio, and the voltages that are empty and full."""

    def __init__(self, rig, machine):
        self._adc = machine.ADC(rig["board.supply_pin"])
        self._mv = rig.get("board.supply_scale", 2.0) * 3300 / 65535
        self._empty_mv = rig.get("board.supply_empty_v", 3.3) * 1000
        self._full_mv = rig.get("board.supply_full_v", 4.2) * 1000

    def millivolts(self):
        # type: () -> int
        """The supply now."""
        return min(int(self._adc.read_u16() * self._mv), 0xFFFE)

    def percent(self):
        # type: () -> int
        """How far from empty to full, a straight line between."""
        share = (self.millivolts() - self._empty_mv) / (self._full_mv - self._empty_mv or 1)
        return int(100 * min(max(share, 0.0), 1.0))


def from_rig(rig, machine):
    # type: (dict[str, Any], Any) -> tuple[Supply | None, str]
    """The supply where the rig file names its pin, and what is wrong with that."""
    if machine is None or rig.get("board.supply_pin") is None:
        return None, ""
    try:
        return Supply(rig, machine), ""
    except (ValueError, TypeError, OSError, AttributeError) as error:
        return None, "board.supply_pin: cannot be used (%s); choose another pin" % error
