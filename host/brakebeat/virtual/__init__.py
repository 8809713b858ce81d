"""A Bluetooth LE link without a radio: the firmware on one side, an unmodified bleak client on the other.

``virtual_rig`` is the way in; ``air`` the simulated radio (bumble), ``bleak_backend`` what bleak is given.
"""

from brakebeat.virtual.rig import VirtualRig, virtual_rig

__all__ = ["VirtualRig", "virtual_rig"]
