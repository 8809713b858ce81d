"""Flash that is full or fails, files that are damaged: told, counted, and nothing that can be kept is lost."""

import random
import struct
import zlib

import pytest

from brakebeat.bench.soak import RIG
from tests.board_app.firmware import command
from tests.faults.lived import CONNECT, POWER, REPORT, REPS, REST, WIRE, live, needs_vm, pull, reps_of

pytestmark = needs_vm

ENOSPC, EIO = 28, 5
DISCONNECT = {"do": "disconnect"}
ASK_AGAIN = (DISCONNECT, {"do": "idle", "us": 1_000_000}, CONNECT, {"do": "idle", "us": 2_000_000})


def full(error=ENOSPC):
    return {"do": "flash", "error": error}


@pytest.mark.parametrize("error", [ENOSPC, EIO])
def test_flash_that_takes_no_more(tmp_path, error):
    orders = [POWER, CONNECT, pull(), REST, REPORT, full(error), pull(), REST, *ASK_AGAIN, REPORT]
    # Room again: the next power-up goes on where the flash stood.
    orders += [full(0), POWER, CONNECT, pull(), REST, REPORT]
    outcome = live(tmp_path, *orders)
    before, after, last = outcome.reports
    assert before["trouble"] == ""
    assert "journal: " in after["trouble"]
    assert "reps are kept in memory only" in after["trouble"]
    assert after["journal_id"] != before["journal_id"]
    assert (after["reps"], after["reps_lost"], after["faults"]) == (2 * REPS, 0, 0)
    assert last["journal_id"] == before["journal_id"]
    assert (last["trouble"], last["journal_torn"]) == ("", 0)
    journals = [record.journal for record in reps_of(outcome)]
    assert [journals.count(one["journal_id"]) for one in (before, after)] == [2 * REPS, REPS]
    for journal in set(journals):
        numbers = [record.sequence for record in outcome.records if record.journal == journal]
        # A number that could not be written is left out; none comes twice.
        assert numbers == sorted(set(numbers))


def test_flash_that_fails_from_the_start(tmp_path):
    outcome = live(tmp_path, full(), POWER, CONNECT, pull(), REST, REPORT)
    assert "reps are kept in memory only" in outcome.reports[0]["trouble"]
    assert len(reps_of(outcome)) == REPS


def test_a_damaged_journal_gives_what_is_whole_and_counts_the_rest(tmp_path):
    live(tmp_path, POWER, pull(), REST, pull(), REST)
    whole = live(tmp_path, POWER, CONNECT, REST)
    block = tmp_path / "journal" / "0"
    data = bytearray(block.read_bytes())
    # Its third record; a page has 128 bytes, the first is the block's marker.
    data[3 * 128 + 40] ^= 0x10
    block.write_bytes(data)
    outcome = live(tmp_path, POWER, CONNECT, pull(), REST, REPORT)
    assert outcome.reports[0]["journal_torn"] == 1
    assert (outcome.reports[0]["trouble"], outcome.reports[0]["faults"]) == ("", 0)
    old = [record for record in outcome.records if record.sequence < 2 * REPS]
    assert old == [record for record in whole.records if record.sequence != 2][: 2 * REPS - 1]
    assert len(reps_of(outcome)) == 3 * REPS - 1


def test_a_journal_of_noise_is_begun_anew(tmp_path):
    live(tmp_path, POWER, pull(), REST)
    for path in (tmp_path / "journal").iterdir():
        path.write_bytes(random.Random(3).randbytes(2048))
    outcome = live(tmp_path, POWER, CONNECT, pull(), REST, REPORT)
    assert len(reps_of(outcome)) == REPS
    assert (outcome.reports[0]["trouble"], outcome.reports[0]["faults"]) == ("", 0)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (RIG + 'name = 5\n', "name: cannot be 5"),
        (RIG + 'zero_index = 7.5\n', "zero_index: cannot be 7.5"),
        (RIG + '[board]\nthin = 0\n', "board.thin: cannot be 0"),
        (RIG + '[board]\nopen_reading = "no"\n', "board.open_reading: cannot be 'no'"),
        (RIG + '[board]\nsensor_pin = "x"\n', "board.sensor_pin: cannot be 'x'"),
        (RIG[:20], "rig.toml: "),
        ("\x00" * 100, "rig.toml: line 1"),
        ("", ""),
    ],
)  # fmt: skip
def test_a_rig_file_that_is_wrong_stops_nothing(tmp_path, text, told):
    (tmp_path / "rig.toml").write_text(text)
    outcome = live(tmp_path, POWER, CONNECT, pull(), REST, REPORT)
    assert outcome.code == 0, outcome.console
    assert told in outcome.reports[0]["trouble"]
    # The default rig counts all the same: it has six magnets too.
    assert outcome.reports[0]["reps"] == REPS
    assert len(reps_of(outcome)) == REPS


def test_a_rig_file_larger_than_the_memory(tmp_path):
    (tmp_path / "rig.toml").write_text(RIG + "# and so on\n" * 60_000)
    outcome = live(tmp_path, POWER, REPORT, heap="500k")
    assert outcome.code == 0, outcome.console
    assert "rig.toml: too large" in outcome.reports[0]["trouble"]


def test_damaged_bonds_are_told(tmp_path):
    (tmp_path / "bonds").write_bytes(b"\x01\x02\x03 something else")
    outcome = live(tmp_path, POWER, {"do": "idle", "us": 100_000}, REPORT)
    assert "bonds: the file is damaged; bond the hosts anew" in outcome.reports[0]["trouble"]


def test_a_new_rig_file_goes_on_counting(tmp_path):
    """Counts since power-up, the clock and the numbers of reps outlive it."""
    data = RIG.encode() + b"[cues]\nlate_cue = false\n"
    commands = (
        command(WIRE.COMMAND_RIG_BEGIN, struct.pack("<HI", len(data), zlib.crc32(data))),
        command(WIRE.COMMAND_RIG_PART, struct.pack("<H", 0) + data),
        command(WIRE.COMMAND_RIG_COMMIT),
    )
    writes = [
        order
        for one in commands
        for order in ({"do": "write", "hex": one.hex()}, {"do": "idle", "us": 500_000})
    ]
    stray = {"do": "play", "gaps_us": [5_000_000]}
    outcome = live(
        tmp_path, POWER, CONNECT, pull(), REST, stray, REST, REPORT, *writes, REPORT, pull(), REST, REPORT
    )
    before, after, last = outcome.reports
    assert (tmp_path / "rig.toml").read_bytes() == data
    assert before["spurious"] > 0
    counts = ("reps", "spurious", "bounced", "incomplete", "overrun", "faults", "trouble", "connections")
    assert [after[name] for name in counts] == [before[name] for name in counts]
    assert after["clock_us"] == after["since_power_us"]
    assert last["reps"] == 2 * REPS
    assert [int.from_bytes(record.body[4:8], "little") for record in reps_of(outcome)] == list(
        range(2 * REPS)
    )
