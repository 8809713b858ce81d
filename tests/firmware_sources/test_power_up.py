"""`boot.py` and `main.py` as they lie on a board, on the VM made a board: never dead, always a way in."""

import pytest

from brakebeat.board.table import supported_boards
from tests.firmware_sources.boards_vm import needs_vm, run

pytestmark = needs_vm

SCRIPT = """
task = json.loads(sys.stdin.readline())
world = setup.board(task["chip"], own_time=False)
from brakebeat_fw import watchdog
loops = []
hung = []
sign = watchdog.feed
def feed():
    sign()
    loops.append(world.fed)
    if "hangs_s" in task and len(loops) == 20:
        for _ in range(task["hangs_s"]):
            world.pass_us(1000000)
        hung.append(world.fed - loops[-1])
    if len(loops) == task.get("interrupt_at"):
        # Someone presses Ctrl-C.
        raise KeyboardInterrupt
watchdog.feed = feed
for number, level in task.get("levels", []):
    world.levels[number] = level
if task.get("no_dog"):
    del sys.modules["machine"].WDT
asked = []
if task.get("broken"):
    from brakebeat_fw import app
    def broken():
        raise ValueError("made to fail")
    app.main = broken
import time
if task.get("broken"):
    time = setup.Clock(world)
    sys.modules["time"] = time
stopped = ""
try:
    for name in ("boot.py", "main.py"):
        with open(sys.argv[1] + "/" + name) as file:
            exec(file.read(), {})
        asked.append([len(world.timers), world.fed])
except KeyboardInterrupt:
    stopped = "Ctrl-C"
except SystemExit:
    stopped = "reset"
timers = [timer.period_us for timer in world.timers]
pwm = [each for each in world.machines if hasattr(each, "duty")]
print("")
told = {"stopped": stopped, "fed": world.fed, "timers": timers, "asked": asked, "tones": world.tones}
told.update({"resets": world.resets, "duty": [each.duty for each in pwm], "irqs": sorted(world.irqs)})
told["levels"] = [[number, world.levels[number]] for number in sorted(world.levels)]
fed = world.fed
told["hung"] = hung
world.pass_us(8000000)
told["fed_at_the_prompt"] = world.fed - fed
print(json.dumps(told))
"""

GOOD = 'pulses_per_rev = 6\n[board]\nsensor = "hall"\nsensor_pin = 4\nbuzzer_pin = 6\nbutton_pin = 7\n'
CHIPS = {"rp2": "RP2040", "esp32": "ESP32", "c3": "ESP32C3"}
ERROR_HERTZ = 300


def power_up(folder, rig, chip="rp2", **task):
    if rig is not None:
        (folder / "rig.toml").write_text(rig, "utf-8")
    return run(SCRIPT, {"chip": chip} | task, folder=folder)


def pins(chip):
    return next(board.pins for board in supported_boards() if board.chip == CHIPS[chip])


@pytest.mark.parametrize("chip", CHIPS)
@pytest.mark.parametrize(
    ("rig", "reason"),
    [
        (None, "rig.toml: cannot be read"),
        ("pulses_per_rev = many\n", "rig.toml: line 1: cannot be read"),
        ("pulses_per_rev = 0\n", "rig.toml: pulses_per_rev: cannot be 0"),
    ],
)
def test_without_a_rig_file_it_runs_on_the_tables_pins_and_sounds_the_error(chip, rig, reason, tmp_path):
    told, said = power_up(tmp_path, rig, chip, interrupt_at=40)
    assert reason in said
    assert "default rig in use" in said
    assert told["stopped"] == "Ctrl-C"
    assert told["tones"][0] == ERROR_HERTZ
    assert told["duty"] == [32768]
    assert [pins(chip)["led_pin"], 1] in told["levels"]
    # The sensor is listened to (a PIO needs no interrupt).
    assert told["irqs"] == ([] if chip == "rp2" else [pins(chip)["sensor_pin"]])


def test_a_sensor_that_cannot_be_used_sounds_the_error_too(tmp_path):
    told, said = power_up(tmp_path, GOOD.replace("sensor_pin = 4", "sensor_pin = 99"), interrupt_at=40)
    assert "board.sensor_pin: 99 cannot be used" in said
    assert told["tones"] == [ERROR_HERTZ]


@pytest.mark.parametrize("chip", CHIPS)
def test_a_good_rig_file_is_silent_and_tells_its_source(chip, tmp_path):
    told, said = power_up(tmp_path, GOOD, chip, interrupt_at=40)
    assert told["tones"] == []
    assert told["duty"] == [0]
    kind = {"rp2": "pio", "esp32": "witnessed", "c3": "scheduled"}[chip]
    assert f"edges by {kind}" in said


@pytest.mark.parametrize("chip", CHIPS)
@pytest.mark.parametrize(("hangs_s", "fed"), [(5, 5), (29, 29), (30, 30), (31, 30), (90, 30)])
def test_the_watchdog_is_fed_for_half_a_minute_after_the_main_loops_last_sign(chip, hangs_s, fed, tmp_path):
    told, _ = power_up(tmp_path, GOOD, chip, interrupt_at=40, hangs_s=hangs_s)
    # After boot.py the timer feeds; it did not have to yet.
    assert told["asked"] == [[1, 0]]
    assert told["hung"] == [fed]
    assert told["stopped"] == "Ctrl-C"
    # Back at the prompt: without end, each second, far below the 8 s that the dog waits.
    assert told["timers"] == [1_000_000]
    assert told["fed_at_the_prompt"] == 8


@pytest.mark.parametrize("rig", [GOOD, None])
@pytest.mark.parametrize("chip", CHIPS)
def test_safe_mode(chip, rig, tmp_path):
    """Held at power-up: a prompt, nothing else. Without a rig file the table says where the button is."""
    button = 7 if rig else pins(chip)["button_pin"]
    told, said = power_up(tmp_path, rig, chip, levels=[[button, 0]])
    assert "safe mode" in said
    assert "edges by" not in said
    assert told["stopped"] == ""
    assert (told["irqs"], told["duty"], told["tones"]) == ([], [], [])
    assert told["timers"] == [1_000_000]
    assert told["fed_at_the_prompt"] == 8


def test_a_port_without_a_watchdog_runs_and_says_so(tmp_path):
    told, said = power_up(tmp_path, None, no_dog=True, levels=[[19, 0]])
    assert "no watchdog" in said
    assert "safe mode" in said
    assert told["timers"] == []


@pytest.mark.parametrize("chip", ["rp2", "esp32"])
def test_a_program_that_fails_is_told_and_the_board_starts_again(chip, tmp_path):
    told, said = power_up(tmp_path, GOOD, chip, broken=True)
    assert "made to fail" in said
    assert (told["stopped"], told["resets"]) == ("reset", 1)
    # While the message stands, 5 s, the timer has fed the dog.
    assert told["fed"] >= 5
