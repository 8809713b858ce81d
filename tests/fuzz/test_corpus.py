"""Everything that takes bytes from outside: each kept input, and inputs made from them by cutting and changing.

The long form is ``python -m brakebeat.bench.fuzz`` (coverage-guided, ten minutes a target). What it finds is mended at
its cause and its input kept here, under the target's name.
"""

import importlib.util
import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brakebeat.bench.fuzz import main
from brakebeat.bench.fuzz_targets import TARGETS, Target

CORPUS = Path(__file__).parent / "corpus"
EXAMPLES = 2_000 if os.environ.get("BRAKEBEAT_LONG") else 200


def corpus_of(target: str) -> list[Path]:
    """The inputs that are kept for a target, in the order of their names."""
    return sorted((CORPUS / target).glob("*"))


KEPT = [(name, path) for name in TARGETS for path in corpus_of(name)]


@pytest.mark.parametrize(("name", "path"), KEPT, ids=[f"{name}/{path.name}" for name, path in KEPT])
def test_a_kept_input(name, path):
    TARGETS[name](path.read_bytes())


def test_every_target_has_small_inputs_of_its_own():
    assert {path.name for path in CORPUS.iterdir()} == set(TARGETS)
    assert all(path.stat().st_size < 80_000 for _, path in KEPT)


SPLICES = st.lists(st.tuples(st.floats(0, 1), st.integers(0, 12), st.binary(max_size=12)), max_size=5)


def changed(data: bytes, splices: list[tuple[float, int, bytes]]) -> bytes:
    """``data`` with some bytes cut out and others put in, at shares of its length."""
    for share, cut, put in splices:
        at = int(share * len(data))
        data = data[:at] + put + data[at + cut :]
    return data


@pytest.mark.parametrize("name", TARGETS)
def test_inputs_made_from_them(name):
    seeds = [path.read_bytes() for path in corpus_of(name)]

    @settings(max_examples=EXAMPLES)
    @given(st.sampled_from(seeds), SPLICES)
    def holds(seed, splices):
        TARGETS[name](changed(seed, splices))

    holds()


@pytest.mark.skipif(importlib.util.find_spec("atheris") is not None, reason="Atheris is installed")
def test_without_atheris_the_long_form_says_so(capsys):
    assert main(["--one", "raw"]) == 2
    assert capsys.readouterr().err.startswith("brakebeat.bench.fuzz: Atheris is not installed: pip install")


def broken(target: Target, data: bytes) -> bool:
    try:
        target(data)
    except Exception:
        return True
    return False


def test_a_mistake_would_be_seen(monkeypatch):
    """A refusal that is none, a store that keeps half of what it refused, a reader that forgets."""
    from brakebeat.bench.fuzz_targets import files, imports, sent
    from brakebeat.errors import InputError

    def half(store, path, **_options):
        store.write("INSERT INTO athlete (uid, name, created_ms) VALUES ('x', 'x', 0)")
        raise InputError(f"{path}: no")

    good = (CORPUS / "recording" / "plain.csv").read_bytes()
    assert not broken(TARGETS["recording"], good)
    with monkeypatch.context() as patched:
        patched.setattr(files, "parse_recording", lambda data, name: {}["no such key"])
        assert broken(TARGETS["recording"], good)
    with monkeypatch.context() as patched:
        patched.setattr(imports, "import_fetched", half)
        assert broken(TARGETS["fetched"], b"")
    with monkeypatch.context() as patched:
        patched.setattr(sent, "decode_record", lambda message: message[0])
        assert broken(TARGETS["records"], b"\0")
