"""Records a board's raw edges: kept as they come, written whole, with what is missing marked."""

from __future__ import annotations

from pathlib import Path

from brakebeat.errors import DeviceError
from brakebeat.formats.recording import write_recording
from brakebeat.link.events import Connected, EdgesArrived, Event, LinkLost, RepArrived, StatusArrived
from brakebeat.link.messages import BoardStatus
from brakebeat.watch.rig_header import KnownRig, board_header, other_file
from brakebeat.watch.tape import EdgeTape


class BoardRestartedError(DeviceError):
    """The board's clock has started again: what comes now cannot stand in the same recording."""


class Recorder:
    """Takes one board's events; ``save`` writes what has come so far."""

    def __init__(self, path: Path, rigs: list[KnownRig]) -> None:
        self.path = path
        self.tape = EdgeTape()
        self.reps = 0
        self.links_lost = 0
        # What is odd about the rig; empty where nothing is.
        self.warning = ""
        # What the board last said of itself.
        self.status: BoardStatus | None = None
        self._rigs = rigs
        self._header: dict[str, str] | None = None
        self._boot: int | None = None

    def take(self, event: Event) -> None:
        """Note an event.

        Raises:
            BoardRestartedError: the board was switched off in between. InputError: no rig for the header.
        """
        if isinstance(event, Connected):
            self._connected(event)
        elif isinstance(event, EdgesArrived):
            self.tape.add(event.t_us, event.step, event.missing)
        elif isinstance(event, StatusArrived):
            self.status = event.status
        elif isinstance(event, RepArrived):
            self.reps += 1
        elif isinstance(event, LinkLost):
            self.links_lost += 1

    def _connected(self, event: Connected) -> None:
        if self._header is None:
            self._header = board_header(event, self._rigs)
            self.warning = other_file(event, self._rigs)
        elif event.boot != self._boot:
            raise BoardRestartedError(
                f"{event.name} was switched off and on: its clock began anew and the recording ends before that"
            )
        self._boot = event.boot
        self.status = event.status

    @property
    def length_s(self) -> float:
        """From the first edge to the last."""
        times, _ = self.tape.edges()
        return float(times[-1] - times[0]) * 1e-6 if times.size else 0.0

    def save(self) -> None:
        """Write the recording, whole or not at all. Raises DeviceError where no edge has come."""
        if self._header is None or not self.tape.count:
            raise DeviceError(
                f"{self.path}: not written, no edge has come; turn the wheel while recording, and check the "
                "sensor's wires and its distance from the magnets"
            )
        recording = self.tape.recording(self._header)
        write_recording(self.path, recording.t_us, recording.step, recording.header)

    def summary(self) -> list[str]:
        """What was recorded and what is missing, in words."""
        lines = [f"{self.path}: {self.tape.count} edges in {self.length_s:.1f} s, {self.reps} reps"]
        if self.warning:
            lines.append(f"CAREFUL: {self.warning}")
        if self.tape.holes:
            lost, places = self.tape.lost, len(self.tape.holes)
            known = f"{lost} edges are known to be missing" if lost else "edges may be missing"
            more = "; how many more, nobody could count" if lost and self.tape.uncounted else ""
            where = "in one place" if places == 1 else f"in {places} places"
            lines.append(f"INCOMPLETE: {known}{more}, {where} (header keys edges_lost and holes_us tell)")
        return lines
