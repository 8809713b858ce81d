"""A recorded session as a board would have sent it: its reps, and its edges one by one in between."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from brakebeat.board import replay
from brakebeat.coach.keeper import Keeper
from brakebeat.coach.session import CoachSession
from brakebeat.formats.recording import Recording, read_recording
from brakebeat.link import EdgesArrived
from brakebeat.results import Analysis
from brakebeat.samples import resolve
from brakebeat.store import Store

from .events import WALL_US, arrived, choice, connected


@dataclass(frozen=True)
class Played:
    """The recording, and what the firmware found in it."""

    recording: Recording
    analysis: Analysis

    def into(self, store: Store, *, edges: bool = True, from_us: int = 0) -> None:
        """Keep it as a coach does, from a moment on, with raw edges or without."""
        told = [(rep.end_us, self.arrival(rep)) for rep in self.analysis.reps if rep.start_us >= from_us]
        if edges:
            told += [(int(t), self._edge(int(t))) for t in self.recording.t_us if t >= from_us]
        session = CoachSession(choice())
        session.choice = type(session.choice)("Mara Quill", "squat", self.recording.rig, session.choice.plan)
        keeper = Keeper(store, session.choice, lambda: WALL_US / 1e6 + 3600.0)
        for event in [connected(board_us=from_us), *(event for _, event in sorted(told, key=lambda p: p[0]))]:
            keeper.keep(event, session.take(event, 0.0))
        keeper.close()

    @staticmethod
    def arrival(rep):
        """The rep as it comes over a link."""
        return type(arrived())(rep, [], b"", 7, rep.index, 1)

    @staticmethod
    def _edge(t_us):
        return EdgesArrived(1, np.array([t_us], np.int64), np.zeros(1, np.int8), 0)


@lru_cache(maxsize=1)
def a_session_of_two_sets() -> Played:
    """What ``sample:sets`` holds."""
    recording = read_recording(resolve("sample:sets"))
    analysis = replay(recording)
    assert len(analysis.sets) == 2
    return Played(recording, analysis)
