"""Recognises the rig file's magnet table in what a session has learnt by itself.

Equal magnets cannot be told apart when the board wakes up and one channel does not know the sense: the table may be
turned by any number of magnets and run either way. It is believed only where one of these ways fits far better than
the others.
"""

from array import array

from micropython import const

# Deviation of the best way, as a share of the next best, and of what the table itself deviates from even spacing.
_CLEARLY = const(0.6)


def recognise(learnt, stored):
    # type: (Any, Any) -> Any
    """The stored offsets in the session's own order and sense (array 'f'), or None where none fits; same units."""
    size = len(learnt)
    best = second = 0.0
    for k in range(size):
        best += stored[k] * stored[k]
    best *= _CLEARLY * _CLEARLY
    found = None
    for sense in (1, -1):
        for first in range(size):
            off = 0.0
            for k in range(size):
                each = learnt[k] - sense * stored[(first + sense * k) % size]
                off += each * each
            if off < best:
                second = best
                best = off
                found = (sense, first)
            elif best < off < second:
                second = off
    if found is None or best > _CLEARLY * _CLEARLY * second:
        return None
    sense, first = found
    return array("f", [sense * stored[(first + sense * k) % size] for k in range(size)])
