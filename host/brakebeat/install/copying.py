"""Copies under new names, verifies on the board, then switches over; a board is never left half old, half new.

The switch runs on the board in one go, main.py last. If the power goes in the middle of it there is no main.py: the
board waits at its prompt, and installing again mends it.
"""

from __future__ import annotations

import errno
from collections.abc import Callable, Mapping

from brakebeat.errors import DeviceError
from brakebeat.install.console import Console
from brakebeat.install.facts import Facts

STAGE = "/brakebeat_new"
OLD_RIG = "rig.old.toml"
_STARTERS = ("boot.py", "main.py")
# What tells our own main.py and boot.py from anybody else's.
_OURS = b"brakebeat_fw"
# A folder and its log take two blocks each; a spare one for what is being moved.
_FOLDER_BLOCKS = 5

_TOOLS = """
import os
def _there(path):
    try:
        return os.stat(path)[0]
    except OSError:
        return 0
def _gone(path):
    mode = _there(path)
    if mode & 0x4000:
        for name in os.listdir(path):
            _gone(path + '/' + name)
        os.rmdir(path)
    elif mode:
        os.remove(path)
"""

_SWITCH = """
for _name, _kept in {kept!r}:
    if _there('/' + _name):
        if _kept:
            os.rename('/' + _name, '/' + _kept)
        else:
            os.remove('/' + _name)
_gone('/brakebeat_old')
if _there('/brakebeat_fw'):
    os.rename('/brakebeat_fw', '/brakebeat_old')
os.rename({stage!r} + '/brakebeat_fw', '/brakebeat_fw')
if _there({stage!r} + '/rig.toml'):
    if _there('/rig.toml'):
        _gone('/{old_rig}')
        os.rename('/rig.toml', '/{old_rig}')
    os.rename({stage!r} + '/rig.toml', '/rig.toml')
for _name in {starters!r}:
    if _there({stage!r} + '/' + _name):
        os.rename({stage!r} + '/' + _name, '/' + _name)
_gone({stage!r})
_gone('/brakebeat_old')
"""


def clean_up(console: Console) -> None:
    """Take away what an installation that broke off has left; a rig file that it had moved comes back."""
    console.run(_TOOLS)
    console.run(f"_gone({STAGE!r})")
    console.run(f"if not _there('/rig.toml') and _there('/{OLD_RIG}'): os.rename('/{OLD_RIG}', '/rig.toml')")


def check_room(facts: Facts, content: Mapping[str, bytes], port: str) -> None:
    """Raises DeviceError where the flash has no room for the new files beside the old ones."""
    block = facts.block_bytes
    needed = sum(-(-len(data) // block) for data in content.values()) + _FOLDER_BLOCKS
    if needed * block > facts.free_bytes:
        raise DeviceError(
            f"{port}: the flash is full: {needed * block / 1024:.0f} KiB are needed, {facts.free_bytes / 1024:.0f} are "
            "free; delete files of your own from the board (`mpremote ls`, `mpremote rm`). Nothing was changed"
        )


def stage(console: Console, content: Mapping[str, bytes], told: Callable[[str, int, int], None]) -> None:
    """Write everything under ``STAGE`` and have the board work out each file's SHA-256.

    ``told`` hears (file, bytes so far, bytes in all). Raises DeviceError; then the board is as it was.
    """
    total, done = sum(len(data) for data in content.values()), 0
    try:
        console.run(f"os.mkdir({STAGE!r})")
        for folder in sorted({path.rpartition("/")[0] for path in content} - {""}):
            console.run(f"os.mkdir({STAGE + '/' + folder!r})")
        for path, data in content.items():
            told(path, done, total)
            console.write(f"{STAGE}/{path}", data)
            if not console.matches(f"{STAGE}/{path}", data):
                raise DeviceError(
                    f"{console.port}: {path}: its checksum on the board differs from what was sent: a bad cable or a "
                    "worn flash; try another cable, then another board. The board's old files still stand"
                )
            done += len(data)
        told("", total, total)
    except OSError as error:
        console.run(f"_gone({STAGE!r})")
        why = "the flash is full" if error.errno == errno.ENOSPC else f"the flash cannot be written ({error})"
        raise DeviceError(
            f"{console.port}: {why}; delete files of your own from the board (`mpremote ls`, `mpremote rm`), try "
            "again. The board's old files still stand"
        ) from error
    except DeviceError:
        console.run(f"_gone({STAGE!r})")
        raise


def switch(console: Console, facts: Facts, content: Mapping[str, bytes]) -> dict[str, str]:
    """Put what is staged in force. Gives the programs of others that were moved: old name -> new one."""
    kept = []
    # main.py goes first and comes last.
    for name in reversed(_STARTERS):
        if name in facts.files and name in content:
            kept.append((name, "" if _OURS in console.read(f"/{name}") else _free(name, facts.files)))
    console.run(_SWITCH.format(kept=kept, stage=STAGE, starters=_STARTERS, old_rig=OLD_RIG))
    return {name: other for name, other in kept if other}


def _free(name: str, taken: frozenset[str]) -> str:
    stem = name.removesuffix(".py")
    number = 1
    while (free := f"{stem}_before_{number}.py") in taken:
        number += 1
    return free
