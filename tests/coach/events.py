"""Events of an invented board, for tests of the model."""

from types import SimpleNamespace

from brakebeat.coach.choice import Choice, SetPlan
from brakebeat.formats.rig import Rig
from brakebeat.link import Connected, LiveArrived, LiveState, RepArrived
from brakebeat.results import Cue, PhaseFigures, Rep

WALL_US = 1_800_000_000_000_000
BOARD_US = 60_000_000


def choice(athlete="Mara Quill", **plan):
    rig = Rig(pulses_per_rev=6, inertia_kg_m2=0.07, name="barn wheel")
    return Choice(athlete, "squat", rig, SetPlan(**plan))


def connected(boot=1, board_us=BOARD_US, wall_us=WALL_US, magnets=6, journal_id=7):
    status = SimpleNamespace(pulses_per_rev=magnets, firmware_version="0.1")
    return Connected("Brakebeat-B001", "F0", status, journal_id, boot, board_us, wall_us)


def arrived(index=0, start_us=BOARD_US + 1_000_000, peak=70.0, power=400.0, momentum=False, boot=1, cues=()):
    rep = Rep(
        index,
        momentum,
        start_us,
        start_us + 900_000,
        start_us + 1_800_000,
        start_us + 850_000,
        peak,
        40.0,
        40.0,
        brake_fraction=0.3,
        brake_timing="inside",
        concentric=PhaseFigures(mean_power_w=power),
    )
    sounds = [Cue(rep.end_us, index, kind) for kind in cues]
    return RepArrived(rep, sounds, b"", 7, index, boot)


def live(phase="concentric", speed=30.0):
    return LiveArrived(LiveState(phase, 0, 0, speed, 0, 0, None, 0, 0.0))
