"""Asks the advisory service of pip-audit whether a version pinned in `.ci/constraints.txt` has a known vulnerability.

Exit code 1 where one has. A service that cannot be reached, or that does not know a package, fails nothing, since a
clone without network must pass too: it is said in words what was NOT audited. Usage: python .ci/audit.py
"""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

PINS = Path(__file__).resolve().parent / "constraints.txt"
# All of it ends by then, however the network behaves.
LONGEST_S = 180
_COMMAND = ["--no-deps", "--disable-pip", "--progress-spinner", "off", "--timeout", "5", "--format", "json"]
_NAMED = 5


def ask(command: list[str], longest_s: float = LONGEST_S) -> tuple[dict[str, Any] | None, str]:
    """The service's answer (pip-audit's JSON document), or None and why there is none."""
    try:
        done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=longest_s)
    except subprocess.TimeoutExpired:
        return None, f"no answer within {longest_s:g} s"
    except OSError as error:
        return None, str(error)
    try:
        answer = json.loads(done.stdout)
        return {"dependencies": list(answer["dependencies"])}, ""
    except (ValueError, TypeError, KeyError):
        # It ends with a traceback where the network fails; its last line has the reason.
        words = (done.stderr or done.stdout).strip().splitlines()
        last = words[-1][:120] if words else f"it ended with code {done.returncode} and said nothing"
        return None, f"the advisory service could not be asked ({last})"


def judge(answer: dict[str, Any] | None, why: str) -> tuple[int, list[str]]:
    """The exit code and what to print."""
    if answer is None:
        return 0, [f"the dependencies were NOT audited: {why}"]
    known = [package for package in answer["dependencies"] if "skip_reason" not in package]
    unknown = [package["name"] for package in answer["dependencies"] if "skip_reason" in package]
    told = []
    for package in known:
        for found in package["vulns"]:
            mended = ", ".join(found.get("fix_versions") or []) or "no version yet"
            names = ", ".join([found["id"], *(found.get("aliases") or [])])
            told.append(f"{PINS.name}: {package['name']}=={package['version']}: {names}; mended in {mended}")
    vulnerable = bool(told)
    told.append(f"{len(known)} packages audited, {len(told)} known vulnerabilities")
    if unknown:
        named = ", ".join(unknown[:_NAMED]) + (" and others" if len(unknown) > _NAMED else "")
        told.append(f"{len(unknown)} packages were NOT audited, the service has nothing on them: {named}")
    return int(vulnerable), told


def main() -> int:
    """Ask, print, and return the exit code."""
    command = [sys.executable, "-m", "pip_audit", "--requirement", str(PINS), *_COMMAND]
    code, lines = judge(*ask(command))
    print("\n".join(lines))
    return code


if __name__ == "__main__":
    sys.exit(main())
