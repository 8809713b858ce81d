"""``python -m brakebeat.bench.fuzz``: everything that takes bytes from outside, fuzzed guided by coverage.

By Atheris (libFuzzer for Python; ``pip install "brakebeat[fuzz]"``). Each target begins with its folder of the corpus
in `tests/fuzz/corpus`; what reaches new code is kept in ``--kept`` for the next run. An input that breaks a target is
written to ``--found``: mend the cause, then put the input into the corpus, where CI tries it in every run.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from brakebeat.bench.run import warn
from brakebeat.errors import BrakebeatError, InputError

# In the repository, where this is run: the corpus does not travel with an installed package.
CORPUS = Path("tests/fuzz/corpus")
_LONGEST_INPUT = 4096


def fuzz(target: str, seconds: float, found: Path, kept: Path, corpus: Path) -> int:
    """Fuzz one target in a process of its own; its exit code, 0 where nothing broke. Raises InputError."""
    folder = kept / target
    folder.mkdir(parents=True, exist_ok=True)
    found.mkdir(parents=True, exist_ok=True)
    command = [sys.executable, "-m", "brakebeat.bench.fuzz", "--one", target, str(folder)]
    command += [str(corpus / target)] if (corpus / target).is_dir() else []
    command += [f"-max_total_time={int(seconds)}", f"-max_len={_LONGEST_INPUT}", "-timeout=60"]
    command += [f"-artifact_prefix={found}/{target}-", "-print_final_stats=1"]
    return subprocess.run(command, check=False).returncode


def _one(target: str, options: Sequence[str]) -> None:
    """This process is libFuzzer's from here on."""
    try:
        import atheris
    except ImportError as error:
        raise InputError(
            'Atheris is not installed: pip install "brakebeat[fuzz]" (Linux, and macOS with LLVM)'
        ) from error
    with atheris.instrument_imports(include=["brakebeat", "brakebeat_fw"]):
        from brakebeat.bench.fuzz_targets import TARGETS, load_firmware

        load_firmware()
    atheris.Setup([sys.argv[0], *options], TARGETS[target])
    atheris.Fuzz()


def main(argv: Sequence[str] | None = None) -> int:
    """Fuzz one target after the other; 1 where one broke."""
    words = list(sys.argv[1:] if argv is None else argv)
    if words[:1] == ["--one"]:
        try:
            _one(words[1], words[2:])
        except BrakebeatError as error:
            warn(f"brakebeat.bench.fuzz: {error}")
            return error.exit_code
        return 0
    from brakebeat.bench.fuzz_targets import TARGETS

    parser = argparse.ArgumentParser(prog="python -m brakebeat.bench.fuzz", description=__doc__)
    parser.add_argument("targets", nargs="*", metavar="TARGET", help=f"of {', '.join(TARGETS)} (all)")
    parser.add_argument("--seconds", type=float, default=600.0, help="for each target (600)")
    parser.add_argument("--found", type=Path, default=Path("fuzz-found"), help="where breaking inputs go")
    parser.add_argument("--kept", type=Path, help="a corpus that grows from run to run (a temporary one)")
    parser.add_argument("--corpus", type=Path, default=CORPUS, help=f"where it begins ({CORPUS})")
    args = parser.parse_args(words)
    if not args.corpus.is_dir():
        parser.error(f"--corpus {args.corpus}: no such folder; run this in the repository, or name it")
    unknown = [name for name in args.targets if name not in TARGETS]
    if unknown:
        parser.error(f"no such target: {unknown[0]}; choose of {', '.join(TARGETS)}")
    with tempfile.TemporaryDirectory() as made:
        kept = args.kept or Path(made)
        codes = {
            name: fuzz(name, args.seconds, args.found, kept, args.corpus) for name in args.targets or TARGETS
        }
    for name, code in codes.items():
        print(f"{name}: {'nothing broke' if code == 0 else f'ended with code {code}, see {args.found}'}")
    return int(any(codes.values()))


if __name__ == "__main__":
    sys.exit(main())
