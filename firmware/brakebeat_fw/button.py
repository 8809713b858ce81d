"""The one button: pressed shortly it begins a new set, held for a second it mutes, held for three it lets hosts in."""

from micropython import const

from .clock import ms_after

NONE = const(0)
NEW_SET = const(1)
MUTE = const(2)
BOND = const(3)

_SETTLE_MS = const(20)
_MUTE_MS = const(1000)
_BOND_MS = const(3000)


class Button:
    """pin: reads 0 while pressed. `service` tells what is meant: on release, but for bonding, as soon as it is."""

    def __init__(self, pin):
        self._pin = pin
        self._pressed = False
        self._since_ms = 0
        self._level = 1
        self._changed_ms = 0
        self._bonding = False

    def value(self):
        # type: () -> int
        """0 while it has been held long enough to let new hosts in."""
        return 0 if self._bonding else 1

    def service(self, now_ms):
        # type: (int) -> int
        """Look at the pin; NEW_SET, MUTE, BOND or NONE."""
        level = self._pin.value()
        if level != self._level:
            self._level = level
            self._changed_ms = now_ms
        # A contact bounces: a level counts once it has stayed.
        if ms_after(now_ms, self._changed_ms) >= _SETTLE_MS and self._pressed == bool(level):
            self._pressed = not level
            if self._pressed:
                self._since_ms = self._changed_ms
                return NONE
            if self._bonding:
                self._bonding = False
                return NONE
            return MUTE if ms_after(self._changed_ms, self._since_ms) >= _MUTE_MS else NEW_SET
        if self._pressed and not self._bonding and ms_after(now_ms, self._since_ms) >= _BOND_MS:
            self._bonding = True
            return BOND
        return NONE
