"""What the reference loads: each command that reads a recording waits for it."""

import subprocess
import sys

# Parts of SciPy that take longer to load than a rep to read, and 40 MB together; the arithmetic needed is a few lines.
HEAVY = {
    "scipy.interpolate",
    "scipy.integrate",
    "scipy.ndimage",
    "scipy.optimize",
    "scipy.special",
    "scipy.stats",
}


def test_no_heavy_part_of_scipy():
    code = "import sys, brakebeat.reference; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    assert "scipy.linalg" in loaded
    assert loaded & HEAVY == set()
