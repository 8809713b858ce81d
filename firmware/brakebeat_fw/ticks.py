"""Board time: 30-bit microsecond ticks, as most ports count them, and nothing wider in the hot path."""

# Ports wrap `ticks_us` at 2^30 or later; the unix port at 2^62. Masking here makes all of them alike.
MASK = 0x3FFFFFFF
HALF = 0x20000000


def mask(ticks):
    # type: (int) -> int
    """Any port's tick count as a 30-bit one."""
    return ticks & MASK


def after(later, earlier):
    # type: (int, int) -> int
    """Signed microseconds from ``earlier`` to ``later`` (30-bit ticks no more than 2^29 us apart)."""
    apart = (later - earlier) & MASK
    # MASK + 1 is no small integer on a 32-bit board.
    return apart if apart < HALF else apart - MASK - 1
