"""The audit of the pinned packages: a known vulnerability fails it, a service out of reach is said and does not."""

import importlib.util
import json
import sys
from pathlib import Path

import pytest

SCRIPT = Path(__file__).resolve().parents[2] / ".ci" / "audit.py"
_SPEC = importlib.util.spec_from_file_location("ci_audit", SCRIPT)
assert _SPEC is not None
assert _SPEC.loader is not None
audit = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(audit)

# The shape of pip-audit's JSON (its README, "JSON output"); invented packages and numbers.
SOUND = {"name": "sound", "version": "1.0", "vulns": []}
FOUND = {
    "name": "holey",
    "version": "2.0",
    "vulns": [{"id": "PYSEC-0000-1", "fix_versions": ["2.1"], "aliases": ["CVE-0000-1"], "description": ""}],
}
UNMENDED = {"name": "worse", "version": "3.0", "vulns": [{"id": "PYSEC-0000-2", "fix_versions": []}]}
NOT_THERE = {"name": "private", "skip_reason": "not found"}


def told_by(script: str, longest_s: float = 60.0) -> tuple[int, str]:
    code, lines = audit.judge(*audit.ask([sys.executable, "-c", script], longest_s))
    return code, "\n".join(lines)


def printing(*packages: dict, code: int = 0) -> str:
    return f"import sys; print({json.dumps(json.dumps({'dependencies': packages}))}); sys.exit({code})"


def test_nothing_known_passes():
    assert told_by(printing(SOUND)) == (0, "1 packages audited, 0 known vulnerabilities")


def test_a_known_vulnerability_fails_and_is_named():
    code, told = told_by(printing(SOUND, FOUND, UNMENDED, code=1))
    assert code == 1
    assert "constraints.txt: holey==2.0: PYSEC-0000-1, CVE-0000-1; mended in 2.1" in told
    assert "worse==3.0: PYSEC-0000-2; mended in no version yet" in told
    assert "3 packages audited, 2 known vulnerabilities" in told


def test_packages_that_the_service_does_not_know_are_told_not_passed_over():
    code, told = told_by(printing(SOUND, NOT_THERE))
    assert code == 0
    assert "1 packages audited" in told
    assert "1 packages were NOT audited, the service has nothing on them: private" in told


@pytest.mark.parametrize(
    ("script", "reason"),
    [
        ("raise ConnectionError('no route')", "could not be asked (ConnectionError: no route)"),
        ("import sys; sys.exit(3)", "it ended with code 3 and said nothing"),
        ("print('[]')", "could not be asked ([])"),
    ],
)
def test_a_service_out_of_reach_is_said_and_fails_nothing(script, reason):
    code, told = told_by(script)
    assert code == 0
    assert told.startswith("the dependencies were NOT audited: ")
    assert reason in told


def test_it_ends_however_long_the_network_hangs():
    code, told = told_by("import time; time.sleep(600)", longest_s=0.5)
    assert (code, told) == (0, "the dependencies were NOT audited: no answer within 0.5 s")


def test_without_pip_audit_it_says_so():
    code, lines = audit.judge(*audit.ask(["/nowhere/pip-audit"]))
    assert code == 0
    assert "NOT audited" in lines[0]
    assert "/nowhere/pip-audit" in lines[0]


def test_every_pin_is_one_exact_version():
    """What the audit needs to ask about each without resolving anything."""
    pins = [line for line in audit.PINS.read_text("utf-8").splitlines() if line[:1] != "#"]
    assert all(line.count("==") == 1 and " " not in line for line in pins)
