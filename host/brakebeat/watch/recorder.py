"""Records a board's raw edges: kept on disk as they come, written whole, with what is missing marked."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from brakebeat.errors import DeviceError, InputError, reason
from brakebeat.formats.recording import write_recording
from brakebeat.link.events import Connected, EdgesArrived, Event, LinkLost, RepArrived, StatusArrived
from brakebeat.link.messages import BoardStatus
from brakebeat.watch.part_file import PartFile
from brakebeat.watch.rig_header import KnownRig, board_header, other_file
from brakebeat.watch.tape import EdgeTape
from brakebeat.wording import counted


class BoardRestartedError(DeviceError):
    """The board's clock has started again: what comes now cannot stand in the same recording."""


class Recorder:
    """Takes one board's events; edges go to a part file beside ``path`` at once, ``save`` makes it a recording."""

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
        self._part: PartFile | None = None
        self._boot: int | None = None

    def take(self, event: Event) -> None:
        """Note an event.

        Raises:
            BoardRestartedError: the board was switched off in between. InputError: no rig for the header.
        """
        if isinstance(event, Connected):
            self._connected(event)
        elif isinstance(event, EdgesArrived):
            self._add(event)
        elif isinstance(event, StatusArrived):
            self.status = event.status
        elif isinstance(event, RepArrived):
            self.reps += 1
        elif isinstance(event, LinkLost):
            self.links_lost += 1

    def _connected(self, event: Connected) -> None:
        if self._header is None:
            self._header = board_header(event, self._rigs)
            self._part = PartFile(self.path, self._header)
            self.warning = other_file(event, self._rigs)
        elif event.boot != self._boot:
            raise BoardRestartedError(
                f"{event.name} was switched off and on: its clock began anew and the recording ends before that"
            )
        self._boot = event.boot
        self.status = event.status

    def _add(self, event: EdgesArrived) -> None:
        holes = len(self.tape.holes)
        self.tape.add(event.t_us, event.step, event.missing)
        if self._part is not None:
            self._part.add(event.t_us, event.step)
            if len(self.tape.holes) > holes:
                self._part.mark(self.tape.marks())

    def settle(self) -> None:
        """Have the disk itself keep what has come so far, so that a power cut leaves it."""
        if self._part is not None:
            self._part.settle()

    @property
    def disk_trouble(self) -> str:
        """What to say while the disk does not take the edges, which then wait in memory; empty while it does."""
        if self._part is None or self._part.trouble is None:
            return ""
        return f"{self._part.unwritten} EDGES NOT ON DISK ({reason(self._part.trouble)}): make room"

    @property
    def length_s(self) -> float:
        """From the first edge to the last."""
        times, _ = self.tape.edges()
        return float(times[-1] - times[0]) * 1e-6 if times.size else 0.0

    def save(self) -> None:
        """Write the recording, whole; where there is no room for that, as far as it goes.

        Raises:
            DeviceError: no edge has come. InputError: not all of it is in the file; says how far it goes, and where
            the whole is.
        """
        if self._header is None or self._part is None or not self.tape.count:
            raise DeviceError(
                f"{self.path}: not written, no edge has come; turn the wheel while recording, and check the "
                "sensor's wires and its distance from the magnets"
            )
        try:
            self._write(self.path)
        except InputError as error:
            self._keep_what_fits(self._part, error)
        else:
            self._part.discard()

    def _write(self, path: Path) -> None:
        recording = self.tape.recording(self._header or {})
        write_recording(path, recording.t_us, recording.step, recording.header)

    def _keep_what_fits(self, part: PartFile, error: InputError) -> None:
        """Without room for a second copy the part file is the recording; what it lacks may fit elsewhere."""
        kept, count = 0, self.tape.count
        holds = f"no edge of {count} is kept there"
        try:
            kept = part.finish(self.tape.marks())
        except (OSError, InputError):
            holds = f"what is on disk is in {part.path}"
        if kept == count:
            return
        if kept:
            holds = f"it holds the first {kept} of {count} edges"
        whole = self._written_elsewhere()
        todo = (
            f"the whole recording is {whole}: move it to a place with room, before the computer is switched off"
            if whole
            else "make room, or record to another disk"
        )
        what = str(error).partition(";")[0]
        raise InputError(f"{what}: {holds}; {todo}") from error

    def _written_elsewhere(self) -> Path | None:
        """The recording in the folder for temporary files; None where it does not go there either."""
        try:
            handle, name = tempfile.mkstemp(prefix=f"{self.path.stem}-", suffix=".csv")
        except OSError:
            return None
        os.close(handle)
        try:
            self._write(Path(name))
        except InputError:
            Path(name).unlink(missing_ok=True)
            return None
        return Path(name)

    def summary(self) -> list[str]:
        """What was recorded and what is missing, in words."""
        lines = [
            f"{self.path}: {counted(self.tape.count, 'edge')} in {self.length_s:.1f} s, {counted(self.reps, 'rep')}"
        ]
        if self.warning:
            lines.append(f"CAREFUL: {self.warning}")
        if self.tape.holes:
            lost, places = self.tape.lost, len(self.tape.holes)
            known = f"{counted(lost, 'edge')} known to be missing" if lost else "edges may be missing"
            more = "; how many more, nobody could count" if lost and self.tape.uncounted else ""
            where = "in one place" if places == 1 else f"in {places} places"
            lines.append(f"INCOMPLETE: {known}{more}, {where} (header keys edges_lost and holes_us tell)")
        return lines
