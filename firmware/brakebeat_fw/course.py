"""Has braking begun? Fits the edges since phi = 0 with an unbraked course plus the lag that a late braking would leave.

The unbraked course is a parabola in time whose bend is nearly known (friction and yielding: a prior in least
squares). Against it stands a gentle braking that begins just in time, of the size that stops the wheel where the rep
began: the fitted share of that size is near 0 for a wheel that runs free and 1 or more for one that is braked in
time. Half of it parts the two, whatever the noise, unless the noise is too great to see that half.
"""

from micropython import const

from . import ticks
from .fit import System, ramp

# The braking looked for begins this share of the way back before the late angle, earlier where edges are noisy by so
# many times their noise, but no more than that.
_EARLIER = const(0.058)
_PER_NOISE = const(880.0)
_EARLIEST = const(0.16)
_RAMP_S = const(0.3)
# A braking has begun where the torque comes to a tenth, about; what holds the wheel anyway is part of that.
_TENTH = const(0.115)
# Points that are fitted; where there are more edges, neighbours are averaged.
_POINTS = const(14)
_LEAST = const(3)
# Spread of the unbraked bend, as a share of what stopping needs.
_BEND_SPREAD = const(0.02)
# A bend more than the usual one by this share is braking from phi = 0 on.
_BENT = const(0.25)
# A braking counts from this share on, and from so many standard deviations.
_SHARE = const(0.5)
# A braking that began in time shows at least so much of it.
_AT_LEAST = const(0.7)
# Less than this is no braking for certain, however little the edges scatter.
_SURELY = const(0.25)
_SIGMAS = const(2.5)
# An edge is wrong where it is this many standard deviations off; the newest may lag that many times as much as the
# braking that stopping needs can explain.
_OFF = const(3.5)
_HARDEST = const(3.0)
# Edges further apart than this are too few to wait for: the one that is overdue must speak too.
_SLOW_S = const(0.018)


def judge(stretch, zero_path, late, range_, back, noise, bend, now_ticks, over):
    # type: (Any, float, float, float, float, float, float, int, bool) -> int
    """The verdict on a stretch past phi = 0: 1 for a free wheel, -1 for a braked one, 0 where the next edge should
    tell (but not if ``over``). Arguments as for ``braking``.
    """
    seen = braking(stretch, zero_path, late, range_, back, noise, bend, now_ticks)
    if seen is None:
        return int(over)
    share, unsure, bent = seen
    if over:
        return 1 if share < max(_SHARE, unsure) and bent < 1.0 else -1
    if share < min(_SURELY, _AT_LEAST - unsure) and bent < _SHARE:
        return 1
    return -1 if share > 2.0 * max(_SHARE, unsure) or bent > 2.0 else 0


def braking(stretch, zero_path, late, range_, back, noise, bend, now_ticks):
    # type: (Any, float, float, float, float, float, float, int) -> tuple[float, float, float] | None
    """How much the wheel is braked: the share of a braking in time, what a free wheel's may be off by, and the bend
    (1 is braking from phi = 0 on); None where too few edges tell.

    All in spacings: zero_path: path of phi = 0; late: from there to the late angle; range_: of this rep; back: to
    where the wheel is stopped at the latest; noise: standard deviation of one edge; bend: the usual one of a free
    wheel, as a share of the one that stops it from the late angle on.
    """
    edges = _edges(stretch, zero_path)
    if len(edges) <= _LEAST:
        return None
    t, ahead = edges[-1]
    middle_t, middle = edges[len(edges) // 2]
    speed = (middle - ahead) / (middle_t - t)
    half_s = -t / 2
    noise = max(noise, 3e-4)
    begun = max(0.02 * back, late - min(_EARLIEST * range_, _EARLIER * range_ + _PER_NOISE * noise))
    begun_u = (max(0.01, _TENTH - bend) / 3.0) ** 0.5
    stop = speed * speed / 2.0
    size = _RAMP_S * _RAMP_S * stop / (back - min(0.9 * back, begun + (0.5 - begun_u) * _RAMP_S * speed))
    start = (zero_path + begun - stretch.corrected(stretch.count - 1)) / speed - begun_u * _RAMP_S

    def row(t):
        # type: (float) -> tuple[float, float, float, float]
        """What each unknown adds to the angle at time ``t``: constant, speed, bend, the braking."""
        s = t / half_s + 1.0
        return 1.0, s, s * s, -size * ramp((t - start) / _RAMP_S)[0]

    system = System(4)
    most = _HARDEST * stop / (back - late)
    scale = half_s * half_s * most / (2.0 * _HARDEST)
    held = noise / (_BEND_SPREAD * scale)
    system.add((0.0, 0.0, held, 0.0), -held * bend * scale, 1.0)
    points = []
    together = (len(edges) + _POINTS - 2) // _POINTS
    for first in range(1, len(edges), together):
        group = edges[first : first + together]
        t = ahead = 0.0
        for edge in group:
            t += edge[0] / len(group)
            ahead += (edge[1] - speed * edge[0]) / len(group)
        points.append((row(t), ahead, float(len(group))))
        system.add(*points[-1])
    system.solve()
    noise = _settle(system, points, noise)
    # The newest edge counts where the wheel can have been there.
    line = row(0.0)
    off = system.off(line, 0.0)
    missed = 1.0 if off < -0.7 else 0.0
    since = edges[1][0]
    if -_OFF * noise - most * since * since / 2.0 < off + missed < _OFF * noise:
        system.add(line, missed, 1.0)
    system.solve()
    if speed * _SLOW_S < 1.0:
        # An edge that should have come by now and has not says how much the wheel lags at least; by more than
        # that it was missed.
        t = ticks.after(now_ticks, stretch.buffer[stretch.count - 1]) * 1e-6
        ahead = 1.0 - speed * t
        line = row(t)
        if _OFF * noise < -system.off(line, ahead) < min(0.7, most * t * t):
            system.add(line, ahead, 1.0)
            system.solve()
    unsure = _SIGMAS * noise / system.sure**0.5
    return system.answer[3], unsure, (-system.answer[2] / scale - bend) / _BENT


def _settle(system, points, noise):
    # type: (System, list[Any], float) -> float
    """Take out the points that are wrong; the noise of an edge as these tell it, ``noise`` at least."""
    # What the magnets' table does not tell, or nothing has been learnt yet: the mean size of what is left where
    # constant, speed and braking have been fitted, as a standard deviation.
    total = 0.0
    for line, ahead, _ in points:
        total += abs(system.off(line, ahead))
    noise = max(noise, 1.25 * total / (len(points) * max(1, len(points) - 3)) ** 0.5)
    for line, ahead, weight in points:
        if abs(system.off(line, ahead)) > _OFF * noise:
            system.add(line, ahead, -weight)
    return noise


def _edges(stretch, begin):
    # type: (Any, float) -> list[tuple[float, float]]
    """Seconds and spacings from the newest edge, of it and those before it, back to the path ``begin``."""
    newest = stretch.count - 1
    here = stretch.corrected(newest)
    edges = []  # type: list[tuple[float, float]]
    for place in range(newest, -1, -1):
        x = stretch.corrected(place)
        if x < begin and len(edges) > _LEAST:
            break
        edges.append((ticks.after(stretch.buffer[place], stretch.buffer[newest]) * 1e-6, x - here))
    return edges
