"""The hot path: integers only, no allocation, one viper call a batch and pass.

Pass 1 turns raw edges into accepted ones, each with its advance (how many edge spacings the shaft moved): ``accept``
for a sensor that does not know the sense of rotation, ``decode`` for one that does. Pass 2, ``follow``, stores them
in the stretch buffer and notices turnarounds. What needs both sides of a turnaround, or floats, happens once a rep
elsewhere.

Times are 30-bit ticks; an interval is clamped to ``DT_MAX`` before any arithmetic, so that every intermediate stays
inside the 31-bit small integers of a 32-bit board. Nothing stored is negative: viper reads 32 bits without a sign
where its integers are wider.
"""

import micropython
from micropython import const

DT_MAX = 1 << 23

# Advance codes that pass 1 leaves in ``steps``; 1 to 15 are plain advances.
_MOVE_LAST = const(32)  # the last edge was none, this one is its magnet's
_MOVE_FARTHER = const(33)  # likewise, and this one is of the magnet after that
_REVERSED = const(64)
_MISSED_BEFORE = const(65)  # one spacing, and the edge before came two spacings after its predecessor

# Places in the state array.
_T_LAST = const(0)  # time of the last accepted edge
_SEEN = const(1)  # accepted edges since rest, saturating at 3
_P1 = const(2)  # last interval per edge spacing, us
_P2 = const(3)  # the one before
_EXPECTED = const(4)  # what the last interval was expected to be, us (0: unknown)
_LEAST_FROM_REST = const(5)  # shortest time for one spacing from rest at the greatest acceleration, us / 16
_REST_GAP = const(6)  # a silence longer than this is rest, us
_BOUNCED = const(7)
_MISSED = const(8)
_SPURIOUS = const(9)
_SLOW = const(10)  # 1: the wheel has slowed well below the stretch's greatest speed
_COUNT = const(11)  # edges in the stretch buffer
_INDEX = const(12)  # path index of the last accepted edge, in edge spacings
_NEXT_STORE = const(13)  # path index at which the next edge is stored
_STRIDE = const(14)  # edge spacings between stored edges
_FASTEST = const(15)  # least mean of two neighbouring stored intervals in this stretch, us per stored spacing
_SLOWEST = const(16)  # greatest stored interval since the wheel became slow, us
_TURN_AT = const(17)  # buffer place of the edge that ended it (0: none)
_RUN = const(18)  # stored intervals in a row that were shorter than three quarters of it
_SLOW_TENTHS = const(19)  # an interval of that many tenths of the fastest makes the wheel slow
_CAPACITY = const(20)  # edges that the stretch buffer holds
_POSITION = const(21)  # count of a sensor that knows the sense, kept above 0
_THIN = const(22)  # counts between the lines that such a sensor's edges are thinned to
_SENSE = const(23)  # last sense: 1 forwards, 2 backwards, 0 unknown
_KNOWN_TURN = const(24)  # 1: _TURN_AT was told by the sensor
_S1 = const(25)  # last stored interval
_BASE_STRIDE = const(26)  # what the stride is at the start of a stretch
_ODDS = const(27)  # edges of this stretch that no wheel can have made where it can have turned round neither
_REFUSED = const(28)  # rises by 2 with each edge refused half-way, falls by 1 with each accepted edge
_CONFIRM = const(29)  # edges after a turnaround that are needed to judge it
_USED = const(30)  # edges of the batch that pass 2 has used
_GIVEN = const(31)  # edges of the batch
_P3 = const(32)  # the interval before _P2
_MISSES = const(33)  # intervals in a row in which magnets were missed
STATE_SIZE = 34


_EVENT_TURN = const(1)
_EVENT_FULL = const(2)


@micropython.viper
def _stray_before(p1: int, dt: int, expected: int) -> int:
    """_MOVE_LAST where an edge after the intervals ``p1`` and ``dt`` comes when one was ``expected``, had the last edge
    been none; _MOVE_FARTHER where it is the magnet after that one; else 0."""
    off = p1 - expected
    if off < 0:
        off = 0 - off
    if off <= expected >> 5 or p1 > 0xFFFFFF or expected > 0xFFFFFF:
        # (An interval that long is none: it would only make integers wide.)
        return 0
    code = _MOVE_LAST
    a = p1 + dt - expected
    if a * 2 > expected:
        code = _MOVE_FARTHER
        a -= expected
        b = expected + expected - p1
        if b < 0:
            b = 0 - b
        if b < off:
            off = b
        if off * 3 < expected:
            # A magnet's edge like any.
            off = 0
    if a < 0:
        a = 0 - a
    return code if a * 2 < off and a * 4 < expected else 0


@micropython.viper
def _spacings(dt: int, expected: int, least_from_rest: int) -> int:
    """Spacings in ``dt``: 1, or more where that would need a braking beyond what the wheel can do."""
    a = expected >> 6
    b = dt >> 6
    if b > 0xFFF:
        b = 0xFFF
    if a < 4:
        a = 4
    rest = least_from_rest >> 2
    drop = 0
    if b > a:
        drop = ((b - a) * rest) // a
        if drop > 0x1FFFF:
            drop = 0x1FFFF
    advance = 1
    if (drop * rest) // b > a + b:
        advance = (dt + (expected >> 1)) // (expected + 1)
        if advance < 1:
            advance = 1
        if advance > 8:
            advance = 8
    return advance


@micropython.viper
def accept(state: ptr32, times: ptr32, steps: ptr8, count: int) -> int:
    """Keep what the wheel can have done; returns how many accepted edges now stand at the front of both arrays.

    An edge sooner than the wheel can reach the next magnet is a bounce or spurious. Where a spurious edge was taken
    for a magnet and the true one follows, the later one replaces it. An interval that would need an impossible
    braking is a missed magnet and counts as several spacings.
    """
    kept = i = 0
    while i < count:
        t = times[i]
        i += 1
        dt = (t - state[_T_LAST]) & 0x3FFFFFFF
        if dt > 0x800000:
            dt = 0x800000
        seen = state[_SEEN]
        p1 = state[_P1]
        p2 = state[_P2]
        p3 = state[_P3]
        advance = 1
        if seen == 0 or dt > state[_REST_GAP]:
            state[_SEEN] = 1
            p1 = 0
            state[_EXPECTED] = 0
        else:
            least = 1000
            if seen > 1:
                near = p1
                if p2 and near > p2 * 2 + (p2 >> 3):
                    # The last interval has swallowed magnets.
                    near = p2
                if near > 0x3FFFF:
                    near = 0x3FFFF
                rest = state[_LEAST_FROM_REST]
                soonest = (near * 7) >> 7
                soonest = ((soonest * rest) // (soonest + rest + 1)) << 4
                if dt < soonest and dt > near >> 3:
                    state[_ODDS] += 1
                if (state[_SLOW] and state[_RUN] < 2) or (
                    (seen == 2 or (p1 < p2 - (p2 >> 3) and p2 > p3 + (p3 >> 4))) and state[_CONFIRM] > 4
                ):
                    # Near a turnaround the same magnet may pass again soon: only a bounce is as quick as this. And
                    # where a pull begins or the wheel was slowing the edge before may be the wrong one: with more than
                    # a few magnets both will be read again.
                    if (near >> 4) > least:
                        least = near >> 4
                    if least > 4000:
                        least = 4000
                else:
                    least = soonest if soonest > 200 else 200
            if dt < least:
                # In a pull each is shorter than the one before.
                expected = state[_EXPECTED]
                if p2 < expected:
                    expected = p2
            else:
                # The wheel can be that quick, but one that ran steadily is not all at once.
                expected = 0
                off = p1 - p2 if p1 > p2 else p2 - p1
                if off > p2 >> 5:
                    off = p2 - p3 if p2 > p3 else p3 - p2
                    expected = p2 if off < p2 >> 3 else 0
            # A bounce must not take its edge's place where magnets are uneven.
            if expected and seen > 2 and dt >= 1000 and state[_SLOW] == 0 and state[_REFUSED] < 4:
                code = int(_stray_before(p1, dt, expected))
                if code:
                    # Once may be; again and again it is the count that runs at a fraction of the magnets.
                    state[_ODDS] += 1
                    state[_REFUSED] += 3
                    state[_SPURIOUS] += 1
                    state[_MISSED] += code - _MOVE_LAST
                    state[_P1] = (p1 + dt) >> (code - _MOVE_LAST)
                    state[_T_LAST] = t
                    times[kept] = t
                    steps[kept] = code
                    kept += 1
                    continue
            if dt < least:
                off = dt - p2
                if off < 0:
                    off = 0 - off
                half_off = p1 - dt - dt
                if half_off < 0:
                    half_off = 0 - half_off
                if half_off * 5 < p1:
                    state[_REFUSED] += 2
                if seen > 2 and p2 and half_off * 4 < p1 and (off * 4 < p2 or state[_REFUSED] > 3):
                    # Half the last interval, and as long as the one before it (or the last one was halved too): the
                    # last interval had swallowed a magnet.
                    state[_REFUSED] = 0
                    state[_MISSED] += 1
                    state[_P2] = p1 >> 1
                    state[_EXPECTED] = dt
                    state[_P1] = dt
                    state[_T_LAST] = t
                    times[kept] = t
                    steps[kept] = _MISSED_BEFORE
                    kept += 1
                    continue
                if dt < 1000 or dt < (p1 >> 3):
                    state[_BOUNCED] += 1
                else:
                    state[_SPURIOUS] += 1
                continue
            if seen == 1:
                expected = dt
                state[_SEEN] = 2
                state[_P2] = state[_P3] = 0
            else:
                # The median of three: one wrong interval must not make the next ones look wrong.
                a = p1
                b = p2
                expected = p3
                if b == 0:
                    expected = p1
                elif expected == 0:
                    expected = b
                else:
                    if a > b:
                        a = b
                        b = p1
                    if expected < a:
                        expected = a
                    elif expected > b:
                        expected = b
                    if b < rest << 4 and dt * 2 > b * 5:
                        state[_ODDS] += 1
                state[_SEEN] = 3
                state[_P3] = p2
                state[_P2] = p1
                if p3 and state[_SLOW] == 0 and dt * 5 > expected * 8:
                    advance = int(_spacings(dt, expected, state[_LEAST_FROM_REST]))
                if advance == 1:
                    state[_MISSES] = 0
                elif state[_MISSES] < 2:
                    state[_MISSES] += 1
                    state[_MISSED] += advance - 1
                else:
                    # Not three times in a row: a wrong edge had made the wheel look quicker than it is.
                    advance = 1
                    state[_MISSES] = 0
                    state[_P2] = state[_P3] = dt
            if state[_REFUSED]:
                state[_REFUSED] -= 1
            state[_EXPECTED] = expected
            p1 = dt // advance
        state[_P1] = p1
        state[_T_LAST] = t
        times[kept] = t
        steps[kept] = advance
        kept += 1
    return kept


@micropython.viper
def decode(state: ptr32, times: ptr32, steps: ptr8, count: int) -> int:
    """Thin a signed count to lines every ``_THIN`` counts; returns how many line crossings stand at the front.

    The line between two counts is the same whichever way it is crossed, so a line that is crossed back is a
    reversal and no advance.
    """
    kept = 0
    i = 0
    thin = state[_THIN]
    # Whole lines, so that adding or taking it away moves no line.
    middle = (0x10000000 // thin) * thin
    position = state[_POSITION]
    while i < count:
        t = times[i]
        step = steps[i]
        i += 1
        sense = 1
        line = position
        if 0 < step < 128:
            position += 1
            line = position
        else:
            sense = 2
            position -= 1
        if line % thin == 0:
            dt = (t - state[_T_LAST]) & 0x3FFFFFFF
            if dt > 0x800000:
                dt = 0x800000
            code = 1
            if state[_SENSE] != sense and state[_SENSE] != 0:
                code = _REVERSED
            state[_SENSE] = sense
            if state[_SEEN] < 3:
                state[_SEEN] += 1
            state[_P2] = state[_P1]
            state[_P1] = dt
            state[_T_LAST] = t
            times[kept] = t
            steps[kept] = code
            kept += 1
        if position > 0x1FFFFFFF:
            position = position - middle
        elif position < thin:
            position = position + middle
    state[_POSITION] = position
    return kept


@micropython.viper
def follow(state: ptr32, buffer: ptr32, times: ptr32, steps: ptr8) -> int:
    """Store accepted edges until an event wants attention; returns ``(edges used << 4) | event``.

    The caller says in ``state`` which edges of the batch to use: from _USED to before _GIVEN.
    """
    i = state[_USED]
    count = state[_GIVEN]
    capacity = state[_CAPACITY]
    event = 0
    while i < count and event == 0:
        n = state[_COUNT]
        if n >= capacity:
            event = _EVENT_FULL
            continue
        t = times[i]
        code = steps[i]
        i += 1
        if code & _MOVE_LAST:
            if n > 0 and buffer[capacity + n - 1] == state[_INDEX]:
                buffer[n - 1] = t
                buffer[capacity + n - 1] += code & 1
                if n > 1:
                    state[_S1] = ((t - buffer[n - 2]) & 0x3FFFFFFF) >> (code & 1)
            state[_INDEX] += code & 1
            continue
        if code == _REVERSED:
            if n > 0 and (state[_KNOWN_TURN] == 0 or n - state[_TURN_AT] > 1):
                state[_KNOWN_TURN] = 1
                state[_TURN_AT] = n
        elif code == _MISSED_BEFORE:
            if n > 0 and buffer[capacity + n - 1] == state[_INDEX]:
                buffer[capacity + n - 1] += 1
            state[_INDEX] += 2
        else:
            state[_INDEX] += code
        index = state[_INDEX]
        if index < state[_NEXT_STORE] and code != _REVERSED:
            continue
        state[_NEXT_STORE] = index + state[_STRIDE]
        buffer[n] = t
        buffer[capacity + n] = index
        n += 1
        state[_COUNT] = n
        if n > 1:
            gap = (t - buffer[n - 2]) & 0x3FFFFFFF
            if gap > 0x800000:
                gap = 0x800000
            moved = index - buffer[capacity + n - 2]
            if moved > state[_STRIDE]:
                gap = (gap // moved) * state[_STRIDE]
            if n > 2 and (gap + state[_S1]) >> 1 < state[_FASTEST]:
                state[_FASTEST] = (gap + state[_S1]) >> 1
            state[_S1] = gap
            if state[_KNOWN_TURN]:
                if n - state[_TURN_AT] >= state[_CONFIRM]:
                    event = _EVENT_TURN
            else:
                if gap * 10 > state[_FASTEST] * state[_SLOW_TENTHS] and n > 3:
                    state[_SLOW] = 1
                if state[_SLOW]:
                    if gap > state[_SLOWEST]:
                        state[_SLOWEST] = gap
                        state[_TURN_AT] = n - 1
                        state[_RUN] = 0
                    elif gap * 4 < state[_SLOWEST] * 3:
                        state[_RUN] += 1
                        if state[_RUN] >= 2 and n - state[_TURN_AT] >= state[_CONFIRM]:
                            event = _EVENT_TURN
                    else:
                        state[_RUN] = 0
    return (i << 4) | event
