"""What a rep costs in all on the VM: edges, turnaround, figures; the passes over edges are the least of it.

And the longest single call within it, for which cues and edges wait.
"""

from __future__ import annotations

from pathlib import Path

from brakebeat.bench.accuracy_table.conditions import CONDITIONS
from brakebeat.bench.counting.callgrind import count_calls, count_instructions
from brakebeat.board.engine import command_line
from brakebeat.board.replay import DRIVER, playing
from brakebeat.errors import DeviceError
from brakebeat.formats.recording import Recording

KINDS = ("clean-6", "dirty-6", "clean-24", "dirty-24")
_SEED = 1_000
# The recording is cut so long after a rep's end that the firmware has told it.
_TOLD_US = 800_000
_SCRIPT = Path(__file__).parents[1] / "vm" / "blocks.py"
# The C function that the script has the session's calls in.
_AROUND = "re_sub_helper"


def instructions_per_rep(kind: str, few: int = 2, many: int = 4) -> float:
    """Instructions that the VM spends on one more rep, the main loop of a replay included.

    Args:
        kind: of ``bench.accuracy_table.conditions``; few, many: the recording is cut behind so many reps, and the
            difference of instructions is shared among the reps that one cut has and the other has not.

    Raises:
        InputError: there is no valgrind, or no VM.
        DeviceError: the firmware failed, or found no more reps in the longer cut.
    """
    counts = [_cut_behind(kind, reps) for reps in (few, many)]
    (less, some), (more, all_) = (_counted(recording) for recording in counts)
    if all_ <= some:
        raise DeviceError(f"{kind}: the firmware found {all_} reps where {some} were before")
    return (more - less) / (all_ - some)


def longest_call(kind: str, reps: int = 4) -> int:
    """Instructions of the longest call of ``feed`` or ``poll`` in the first reps: no cue sounds meanwhile.

    Raises:
        InputError: there is no valgrind, or no VM.
        DeviceError: the firmware failed.
    """
    _, edges = playing(_cut_behind(kind, reps), "micropython")
    return max(count_calls(command_line("micropython", _SCRIPT, str(DRIVER)), _AROUND, edges))


def _cut_behind(kind: str, reps: int) -> Recording:
    sensed = CONDITIONS[kind].sensed(_SEED)
    recording = sensed.recording
    end_us = sensed.truth["reps"][reps - 1]["end_us"]
    held = recording.t_us < end_us + _TOLD_US
    return Recording(recording.t_us[held], recording.step[held], recording.header)


def _counted(recording: Recording) -> tuple[int, int]:
    instructions, output = count_instructions(*playing(recording, "micropython"))
    return instructions, sum(line.startswith("R ") for line in output.splitlines())
