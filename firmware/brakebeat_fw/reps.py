"""Makes the record of a finished rep, and counts reps and sets."""

from micropython import const

from . import record, ticks, wire
from .effort import EffortWatch
from .figures import Figures, Wheel
from .rise import find_rise
from .stored import recognise
from .stretch import PAD

# Neither phase is shorter than this share of the whole.
_LEAST_SHARE = const(0.12)
# No strap winds on that many times what was pulled off. A wheel that ran so far past its fastest, and half-way had
# slowed to this share or further, is one that friction stopped (steady friction leaves 0.71, a growing one less).
_MOST_WOUND = const(3.0)
_RUNS_OUT = const(0.8)
# Edges that scatter by more than this share of a spacing are noise and no wheel's.
_NOISE_MOST = const(0.1)
# A rep of fewer edges tells no acceleration.
_FEW_EDGES = const(16)
# A rep with more noise than this many times the usual was miscounted and would teach the magnet table wrong.
_MISCOUNTED = const(1.6)
# The rig file's magnet table counts as much as what so many reps have taught, and is out of date if so many reps
# do not show it though magnets stand unevenly (rms, edge spacings).
_STORED_REPS = const(8)
_STALE_REPS = const(3)
_UNEVEN = const(0.006)


class Reps:
    """``make`` leaves a rep in ``record``, packed as ``wire.REP_FIELDS``; the bytearray is reused."""

    def __init__(self, rig, stretch, zero, cue):
        # type: (dict[str, Any], Any, Any, Any) -> None
        self._rig = rig
        self._stretch = stretch
        self._zero = zero
        self._cue = cue
        self.wheel = Wheel(rig)
        self.effort = EffortWatch(rig)
        self.record = bytearray(wire.REP_SIZE)
        self.made = False
        self.lost = False
        self.count = 0
        self.of_set = 0
        self._last_end_us = None  # type: int | None
        self._stored = rig["magnet_offsets_rad"]
        self._stored_stale = False

    def arm_set(self):
        # type: () -> None
        """The next rep is a set's first, however short the rest before it."""
        self._last_end_us = None

    def momentum(self, start_us):
        # type: (int) -> bool
        """True where the rep that began then is one of its set's first; a new set starts after a rest."""
        if self._last_end_us is None or start_us - self._last_end_us > self._rig["rest_gap_s"] * 1e6:
            self.of_set = 0
            self.effort.new_set()
        return self.of_set < self._rig["momentum_reps"]

    def make(self, end, start, stop, total, start_x, spacing_rad, start_us, cues, gap):
        # type: (int, Any, Any, float, float, float, int, list[int], bool) -> Any
        """Work out the rep up to place ``end`` of the stretch, a part at each step, since it takes a small board longer
        than a cue may wait. The first step needs the stretch's edges. In the end ``made`` says whether it was a rep,
        and ``lost`` whether it was none since nobody held the strap, which may be anywhere now.

        start, stop: its turnarounds; total, start_x: its whole way and where it began, spacings; cues: microseconds
        from its start by kind; gap: edges were lost inside it.
        """
        self.made = self.lost = False
        stretch = self._stretch
        sense = stretch.sense
        flags = (stretch.repaired and wire.FLAG_REPAIRED) | (stretch.thinned and wire.FLAG_THINNED)
        duration_us = ticks.after(stop.ticks, start.ticks)
        curve = self._curve(end, start, duration_us, total, spacing_rad)
        if curve.noise_rad > _NOISE_MOST * spacing_rad:
            return
        yield
        curve.drop_outliers()
        curve.thin(curve.total_rad / 3)
        rise_rad = find_rise(curve)
        if rise_rad is not None:
            self._zero.add_pull(start_x, start_x + sense * rise_rad / spacing_rad)
        zero_x = self._zero.estimate()
        zero = abs(zero_x - start_x) if zero_x is not None else total / 2
        as_usual = 0.75 * stretch.usual < total < 1.3 * stretch.usual
        if not _LEAST_SHARE < zero / total < 1 - _LEAST_SHARE:
            if not as_usual:
                self.lost = True
                return
            # A rep as long as the last one: the count was lost before it, so what is known starts anew.
            self._zero.forget()
            self._zero.add(start_x, sense < 0)
            self._zero.add(start_x + sense * total, sense > 0)
            flags |= wire.FLAG_REPAIRED
            zero = total / 2
        yield
        few = end < _FEW_EDGES
        figures = Figures(self.wheel, few)
        for _ in figures.work_out(curve, start, stop, zero * spacing_rad, spacing_rad):
            yield
        if not (0 < int(figures.extension_s * 1e6) < duration_us and figures.peak_rad_s > 0.0):
            return
        if _runs_out(curve, figures):
            # As long a way as the last one's was wound on a strap, however odd its edges look.
            self.lost = not as_usual
            if self.lost:
                return
            flags |= wire.FLAG_REPAIRED
        self._cue.learn(
            curve.noise_rad * curve.duration_s / curve.total_rad, figures.eccentric_rad, figures.held
        )
        flags |= self._flags(start_us)
        if gap:
            flags |= wire.FLAG_GAP
        if few:
            flags |= wire.FLAG_FEW_EDGES
        rig = self._rig
        timing = record.timing(
            figures.brake_fraction, figures.braked, rig["brake_target"], rig["brake_tolerance"]
        )
        record.pack(self.record, figures, timing, flags, self.count, start_us, duration_us, cues)
        self._last_end_us = start_us + duration_us
        self.count += 1
        self.of_set += 1
        # Two reps that were taken for one must not set the measure for the next.
        stretch.usual = min(total, 1.2 * (stretch.usual or total))
        self.made = True

    def _curve(self, end, start, duration_us, total, spacing_rad):
        # type: (int, Any, int, float, float) -> Any
        """The rep's angle against time, after the magnet table has learnt from it."""
        stretch = self._stretch
        table = stretch.table

        def now():
            # type: () -> Any
            curve = stretch.curve(0, end, start, duration_us, total, spacing_rad)
            curve.measure_noise(PAD + 1, PAD + end)
            return curve

        usual_rad = self._cue.noise_s * total * spacing_rad / (duration_us * 1e-6)
        curve = stretch.find_magnets(now, usual_rad)
        if not usual_rad or curve.noise_rad < _MISCOUNTED * usual_rad:
            stretch.learn(curve, end, spacing_rad)
            if self._stored:
                self._place_stored(spacing_rad)
            if table.magnets > 1 and table.reps <= _STORED_REPS:
                # What it has learnt from this rep still makes a difference.
                curve = now()
        return curve

    def _place_stored(self, spacing_rad):
        # type: (float) -> None
        """Go on from the rig file's magnet table where it shows in what has been learnt; notice where it does not."""
        table = self._stretch.table
        # Once placed it counts as many reps; a table that was forgotten starts again from none.
        if table.magnets < 2 or not 0 < table.reps < _STORED_REPS:
            return
        placed = recognise(table.offsets, [offset / spacing_rad for offset in self._stored])
        if placed:
            table.unsure *= table.reps / _STORED_REPS
            table.take(placed, _STORED_REPS)
            self._stored_stale = False
        elif table.reps >= _STALE_REPS and table.spread() > _UNEVEN:
            self._stored_stale = True

    def _flags(self, start_us):
        # type: (int) -> int
        flags = wire.FLAG_MOMENTUM if self.momentum(start_us) else 0
        if self._zero.assumed():
            flags |= wire.FLAG_ZERO_ASSUMED
        if self._stored_stale:
            flags |= wire.FLAG_MAGNETS_STALE
        return flags


def _runs_out(curve, figures):
    # type: (Any, Any) -> bool
    """Whether nobody holds the strap: the wheel slows evenly over a way that no strap winds on."""
    fastest_rad = curve.angle_at(figures.peak_s)
    left_rad = curve.total_rad - fastest_rad
    if left_rad < _MOST_WOUND * fastest_rad:
        return False
    half_way_s = curve.time_at(fastest_rad + left_rad / 2)
    slowed = curve.speed_at(half_way_s, 0.1, 6, 2)[0]  # type: float
    return slowed < _RUNS_OUT * figures.peak_rad_s
