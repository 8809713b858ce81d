"""Short recordings for all tests of this folder."""

import pytest

from brakebeat.formats.recording import write_recording
from brakebeat.simulate import default_recording


@pytest.fixture(scope="session")
def sets(tmp_path_factory):
    """A folder with five good recordings, two of them in a folder of its own, and a bad one."""
    folder = tmp_path_factory.mktemp("sets")
    (folder / "monday").mkdir()
    for seed in range(5):
        recording, _ = default_recording(seed, reps=2)
        header = dict(recording.header) | {"athlete": "Mara Quill"}
        path = folder / ("monday" if seed > 2 else ".") / f"set{seed}.csv"
        write_recording(path, recording.t_us, recording.step, header)
    (folder / "broken.csv").write_text("# brakebeat-pulses: 1\n# pulses_per_rev: 6\nt_us,step\n1,0\nx,0\n")
    return folder


def tree(folder):
    """Every file below a folder, by its path there, with its content."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
