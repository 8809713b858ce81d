"""What a command loads before it knows what is asked of it: nothing that takes long. Counted, not timed."""

import subprocess
import sys

import pytest

from brakebeat.cli import COMMANDS

# Each takes a tenth of a second or more to load.
HEAVY = {
    "numpy",
    "scipy",
    "matplotlib",
    "pydantic",
    "bumble",
    "bleak",
    "pyarrow",
    "distributed",
    "starlette",
    "rich",
}


@pytest.mark.parametrize("command", [None, *COMMANDS])
def test_help_loads_no_heavy_library(command):
    arguments = [command] if command else []
    code = (
        "import sys\nfrom brakebeat.cli import main\n"
        f"try:\n    main([*{arguments!r}, '--help'])\nexcept SystemExit:\n    pass\n"
        "print('LOADED', *{name.partition('.')[0] for name in sys.modules})"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.rpartition("LOADED")[2].split())
    assert "argparse" in loaded
    assert loaded & HEAVY == set()
