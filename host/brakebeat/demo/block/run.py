"""The block from the first pulse to the reports."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from brakebeat.board.engine import EngineChoice
from brakebeat.demo.block.fill import Filled, fill
from brakebeat.demo.block.folder import BlockFolder
from brakebeat.demo.block.people import EXERCISE, PEOPLE, WEEKS, rig, settings, wheel
from brakebeat.demo.narrate import CAUTION
from brakebeat.formats.atomic import atomic_write
from brakebeat.formats.recording import write_recording
from brakebeat.simulate import default_recording, preset
from brakebeat.store import Store, open_store
from brakebeat.watch.rig_header import rig_header

GREETING = (
    "Brakebeat demo: ten weeks of two invented lifters on a simulated flywheel, up to a regatta. "
    "All else is real code: every set's pulses go through the board's firmware and into a store as in a session."
)
NO_ADVICE = "The lifters, their plans and their figures are invented. Nothing here is medical advice."
_SIDES = ("", "-wal", "-shm")


@dataclass(frozen=True)
class BlockOutcome:
    """What was made, and where it is."""

    filled: Filled
    folder: BlockFolder

    def to_document(self) -> dict[str, Any]:
        """One JSON document."""
        folder = self.folder
        return {
            "schema": 1,
            **asdict(self.filled),
            "store": str(folder.store),
            "reports": {person.name: str(folder.report(person.name)) for person in PEOPLE},
            "calendars": {person.name: str(folder.calendar(person.name)) for person in PEOPLE},
            "next_set": str(folder.next_set),
            "page": page_command(folder),
        }


def page_command(folder: BlockFolder) -> str:
    """The command that shows one more set live."""
    who = PEOPLE[0].name
    return (
        f'brakebeat serve --store {folder.store} --athlete {who} --exercise "{EXERCISE}" '
        f"--virtual {folder.next_set} --open --stay"
    )


def run_block(
    out: Path,
    *,
    seed: int = 1,
    weeks: int = WEEKS,
    engine: EngineChoice = "auto",
    say: Callable[[str], None] = print,
) -> BlockOutcome:
    """Fill a store of its own with the block, write both reports and calendars, and one more set's pulses.

    ``out`` is the directory for the files. Raises ``InputError`` for a place that is taken, ``DeviceError``
    where the firmware fails.
    """
    folder = BlockFolder(out)
    folder.claim()
    say(GREETING)
    say(CAUTION)
    say(f"{NO_ADVICE}\n")
    with _new_store(folder.store) as store:
        filled = fill(store, seed, weeks, engine, say)
        say("\nreports: curves from the raw edges of each one's newest session …")
        for person in PEOPLE:
            _write_report(store, folder, person.name)
    _write_calendars(folder)
    _write_next_set(folder, seed)
    return BlockOutcome(filled, folder)


@contextlib.contextmanager
def _new_store(path: Path) -> Iterator[Store]:
    """A new store in place of an earlier run's, once it is whole."""
    unfinished = path.with_name(f"{path.name}.unfinished")
    _remove(unfinished)
    try:
        with open_store(unfinished) as store:
            yield store
        _remove(path)
        unfinished.replace(path)
    finally:
        _remove(unfinished)


def _remove(path: Path) -> None:
    for side in _SIDES:
        path.with_name(path.name + side).unlink(missing_ok=True)


def _write_report(store: Store, folder: BlockFolder, name: str) -> None:
    from brakebeat.report import athlete_report
    from brakebeat.report.motion import prepare
    from brakebeat.store.catalog import find_named
    from brakebeat.store.queries import sessions, sets

    athlete = find_named(store, "athlete", name)
    prepare(store, list(sets(store, session_id=sessions(store, athlete_id=athlete, limit=1)[0].id)))
    content = athlete_report(store, athlete)
    with atomic_write(folder.report(name)) as stream:
        stream.write(content)


def _write_calendars(folder: BlockFolder) -> None:
    from brakebeat.training.calendar_file import calendar_bytes
    from brakebeat.training.plan import lay_out

    for person in PEOPLE:
        with atomic_write(folder.calendar(person.name)) as stream:
            stream.write(calendar_bytes(lay_out(settings(person)), person.name))


def _write_next_set(folder: BlockFolder, seed: int) -> None:
    person = PEOPLE[0]
    pulses, _ = default_recording(
        seed,
        wheel=wheel(person.disc),
        athlete=person.body,
        sensor=preset("clean", bounced=0.01),
        efforts=(0.6, 0.78, 0.97, 1.0, 0.97, 0.95, 0.93, 0.9, 0.74),
        reps=9,
        late=(5,),
    )
    write_recording(folder.next_set, pulses.t_us, pulses.step, rig_header(rig(person.disc)))
