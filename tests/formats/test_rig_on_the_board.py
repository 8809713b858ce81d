"""A written rig file, read by the board's own code on the MicroPython VM."""

import json
import subprocess

import pytest

from brakebeat.board.engine import command_line, micropython_command
from brakebeat.formats.rig import Board, Cues, Rig, write_rig

SCRIPT = """
import json, sys
sys.path.insert(0, sys.argv[1])
from brakebeat_fw import rigfile
print(json.dumps(rigfile.load(sys.argv[2])))
"""

RIG = Rig(
    name="barn wheel",
    pulses_per_rev=6,
    inertia_kg_m2=0.0712345678,
    drum_radius_m=0.015,
    strap_thickness_m=1.5e-3,
    drum_taper_m_per_rad=-1e-05,
    friction_viscous_nm_s=1e-12,
    brake_preset="last_third",
    magnet_offsets_rad=(0.01, -0.012, 0.0, 2e-5, 0.0, 0.00198),
    cues=Cues(window_cue=True, planned_reps=8),
    board=Board(sensor="hall_pair", sensor_pin=3, sensor_pin_b=4, buzzer_pin=15),
)


@pytest.mark.parametrize("engine", ["micropython", "cpython"])
def test_same_rig_on_the_board(engine, tmp_path):
    if engine == "micropython" and micropython_command() is None:
        pytest.skip("no MicroPython VM here")
    script = tmp_path / "read_rig.py"
    script.write_text(SCRIPT)
    rig_file = tmp_path / "rig.toml"
    write_rig(rig_file, RIG)
    done = subprocess.run(
        command_line(engine, script, str(rig_file)), capture_output=True, text=True, check=True
    )
    values, problem = json.loads(done.stdout)
    assert problem is None
    # The VM's decimal reading may be off in the last bit of a double.
    assert {key: value for key, value in values.items() if value is not None} == {
        key: pytest.approx(value, rel=1e-15) if isinstance(value, (float, list)) else value
        for key, value in RIG.board_dict().items()
    }
