"""A kept result is never taken for that of other code."""

import subprocess
import sys
from pathlib import Path

import pytest

import brakebeat
from brakebeat.board.engine import micropython_command
from brakebeat.many.version import engine_version, source_files

PACKAGE = Path(brakebeat.__file__).parent
LOADS = {"reference": "import brakebeat.reference", "cpython": "import brakebeat.board"}


@pytest.mark.parametrize("engine", LOADS)
def test_every_file_that_an_engine_loads_counts(engine):
    names = "[m.__file__ for n, m in sys.modules.items() if n.startswith('brakebeat')]"
    code = f"import sys; {LOADS[engine]}; print(*{names}, sep='\\n')"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    files = {Path(line) for line in loaded.split()}
    assert PACKAGE / "results.py" in files
    assert files <= set(source_files(engine))


def test_the_boards_files_count_for_the_firmware_only():
    names = {path.name for path in source_files("micropython")}
    assert {"detector.py", "replay_driver.py", "main.py"} <= names
    assert "detector.py" not in {path.name for path in source_files("reference")}


def test_another_line_of_code_is_another_version(tmp_path, monkeypatch):
    import brakebeat.many.version as version

    before = engine_version("cpython")
    changed = tmp_path / "detector.py"
    changed.write_text("# another\n")
    files = [changed if path.name == changed.name else path for path in source_files("cpython")]
    monkeypatch.setattr(version, "source_files", lambda _: files)
    engine_version.cache_clear()
    try:
        assert engine_version("cpython") != before
    finally:
        engine_version.cache_clear()


@pytest.mark.skipif(micropython_command() is None, reason="no MicroPython VM here")
def test_engines_have_versions_of_their_own():
    assert len({engine_version(engine) for engine in ("reference", "micropython", "cpython")}) == 3
