"""Where the demo puts its files, without running over anybody else's."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from brakebeat.errors import InputError, reason
from brakebeat.formats.atomic import atomic_write

_FIRST_LINE = "Made by `brakebeat demo`; the files named here are replaced each time it runs."


@dataclass(frozen=True)
class Folder:
    """The demo's files in one directory."""

    path: Path

    @property
    def recording(self) -> Path:
        """Pulses of the simulated rig, as a board records them."""
        return self.path / "set.csv"

    @property
    def truth(self) -> Path:
        """What really happened in the simulation (JSON)."""
        return self.path / "truth.json"

    @property
    def received(self) -> Path:
        """The reps as the host received them over the radio (JSON, as `brakebeat replay --json` has them)."""
        return self.path / "received.json"

    @property
    def picture(self) -> Path:
        """The set drawn (PNG)."""
        return self.path / "set.png"

    @property
    def about(self) -> Path:
        """Says what the others are, and marks them as the demo's own."""
        return self.path / "about.txt"

    def contents(self) -> dict[Path, str]:
        """The files and what each is."""
        return {
            self.recording: f"pulses of a simulated rig; try `brakebeat check {self.recording.name}`",
            self.truth: "what really happened in the simulation",
            self.received: "the reps as the host received them over the virtual radio",
            self.picture: "the set drawn",
        }

    def claim(self) -> None:
        """Make the directory and mark it.

        ``InputError`` where it cannot be made, or where files of the demo's names are there already and no
        earlier run of the demo put them there.
        """
        contents = self.contents()
        if not self._is_ours():
            taken = [file for file in (*contents, self.about) if file.exists() or file.is_symlink()]
            if taken:
                raise InputError(
                    f"{taken[0]}: is there already and not the demo's; name another place with --out"
                )
        try:
            self.path.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise InputError(
                f"{self.path}: cannot be made ({reason(error)}); name another folder with --out"
            ) from error
        lines = [_FIRST_LINE, "", *(f"{file.name}: {words}" for file, words in contents.items())]
        self.write(self.about, "\n".join(lines) + "\n")

    def write(self, file: Path, text: str) -> None:
        """Put ``text`` in place of ``file``, whole or not at all."""
        with atomic_write(file) as stream:
            stream.write(text.encode())

    def _is_ours(self) -> bool:
        try:
            return self.about.read_text(encoding="utf-8").startswith(_FIRST_LINE)
        except (OSError, UnicodeDecodeError):
            return False
