"""Raw edges that come beside the reps: each set keeps its own, none are lost when the link or the board goes."""

import numpy as np
import pytest

from brakebeat.coach.keeper import Keeper
from brakebeat.coach.session import CoachSession
from brakebeat.link import EdgesArrived, LinkLost
from brakebeat.store import open_store
from brakebeat.store.queries import sets
from brakebeat.store.recomputing import recompute
from brakebeat.store.sessions import load_recording

from .events import arrived, choice, connected
from .played import a_session_of_two_sets

FAR_US = 200_000_000


def edges(times, boot=1, missing=0):
    times = np.asarray(times, np.int64)
    return EdgesArrived(boot, times, np.zeros(len(times), np.int8), missing)


def turning(start_us, lasts_us=1_800_000, every_us=20_000):
    return np.arange(start_us, start_us + lasts_us + 1, every_us)


def keep(store, events, clock=lambda: 0.0):
    session = CoachSession(choice())
    keeper = Keeper(store, session.choice, clock)
    for event in events:
        keeper.keep(event, session.take(event, 0.0))
    return keeper


def kept(store):
    return [load_recording(store, one.id) for one in sets(store)]


def test_each_set_has_its_own_edges(tmp_path):
    first, second = turning(61_000_000), turning(FAR_US)
    nudge = np.array([90_000_000, 90_100_000])
    with open_store(tmp_path / "log") as store:
        events = [connected(), edges(first), arrived(0), edges(nudge), edges(second), arrived(1, FAR_US)]
        keep(store, events).close()
        one, two = kept(store)
        assert one.t_us.tolist() == [*first, *nudge]
        assert two.t_us.tolist() == second.tolist()
        assert "Brakebeat-B001" in one.header["recorded_by"]
        assert one.rig == choice().rig


def test_edges_are_there_once_their_rep_is(tmp_path):
    # A process that is killed right after a rep was stored has its edges, too.
    with open_store(tmp_path / "log") as store:
        keep(store, [connected(), edges(turning(61_000_000)), arrived(0)])
        assert len(kept(store)[0].t_us) == 91


def test_edges_after_the_last_rep_are_kept_once_the_wheel_stands(tmp_path):
    now = iter([0.0, 1.0, 1.0, 9.0])
    with open_store(tmp_path / "log") as store:
        late = np.array([62_900_000])
        keep(
            store,
            [connected(), edges(turning(61_000_000)), arrived(0), edges(late), LinkLost("")],
            lambda: next(now),
        )
        assert kept(store)[0].t_us[-1] == 62_900_000


def test_a_board_that_was_switched_off_begins_another_recording(tmp_path):
    with open_store(tmp_path / "log") as store:
        again = connected(boot=2, board_us=0)
        events = [connected(), edges(turning(61_000_000)), arrived(0), again]
        events += [edges(turning(5_000_000), boot=2), arrived(1, 5_000_000, boot=2)]
        keep(store, events).close()
        assert [int(one.t_us[0]) for one in kept(store)] == [61_000_000, 5_000_000]


def test_missing_edges_are_told_and_never_recomputed_from(tmp_path):
    with open_store(tmp_path / "log") as store:
        events = [connected(), edges(turning(61_000_000)), edges(turning(62_900_000, 100_000), missing=3)]
        keep(store, [*events, arrived(0)]).close()
        (one,) = kept(store)
        assert one.header["edges_lost"] == "3"
        change, outcome, without = recompute(store)
        assert (change, outcome, without) == (None, [], 1)


def test_the_same_edges_twice_are_kept_once(tmp_path):
    with open_store(tmp_path / "log") as store:
        for sequence in (0, 5):
            events = [connected(), edges(turning(61_000_000)), arrived(sequence)]
            keep(store, events).close()
        assert [row[0] for row in store.rows("SELECT count(*) FROM recording")] == [1]
        assert all(one is not None for one in kept(store))


def test_a_rep_sent_again_is_not_stored_again(tmp_path):
    with open_store(tmp_path / "log") as store:
        keep(store, [connected(), arrived(0)])
        keep(store, [connected(), arrived(0)])
        assert [len(one.reps) for one in sets(store)] == [1]


@pytest.mark.parametrize("engine", ["firmware", "reference"])
def test_every_figure_can_be_recomputed(engine, tmp_path):
    played = a_session_of_two_sets()
    with open_store(tmp_path / "log") as store:
        played.into(store)
        before = [[stored.rep for stored in one.reps] for one in sets(store)]
        assert [len(one) for one in before] == [last - first + 1 for first, last in played.analysis.sets]
        recompute(store, engine=engine)
        after = [[stored.rep for stored in one.reps] for one in sets(store)]
        for old, new in zip(before, after, strict=True):
            assert [rep.momentum for rep in new] == [rep.momentum for rep in old]
            for mine, theirs in zip(old, new, strict=True):
                assert abs(mine.peak_rad_s / theirs.peak_rad_s - 1) < 0.015
                assert abs(mine.start_us - theirs.start_us) < 40_000
