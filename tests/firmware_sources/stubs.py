"""Signatures out of the MicroPython stubs of a port, for the stand-ins to check every call against."""

import ast
import importlib.util
from pathlib import Path
from typing import Any

import pytest

_TYPINGS = Path(__file__).resolve().parents[2] / ".ci" / "board_typings.py"
FILES = {
    "rp2": {"machine": "machine.pyi", "rp2": "rp2/__init__.pyi", "pio": "rp2/asm_pio_rp2040.pyi"},
    "esp32": {"machine": "machine.pyi", "esp32": "esp32.pyi"},
}


def fetched(name: str) -> Path:
    """A folder of packages that cannot be installed beside the rest; skips where pip cannot get them."""
    spec = importlib.util.spec_from_file_location("board_typings", _TYPINGS)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    try:
        return module.fetch(name)
    except Exception as error:
        pytest.skip(f"{name}: `python .ci/board_typings.py` cannot fetch it ({error})")


def signatures(port: str) -> dict[str, list[Any]]:
    """By dotted name (`machine.Pin.irq`) the overloads, or the value of a constant."""
    folder = fetched(port)
    found: dict[str, Any] = {}
    for module, file in FILES[port].items():
        _walk(ast.parse((folder / file).read_text("utf-8")).body, module, found, False)
    return found


def _walk(body: list[ast.stmt], prefix: str, found: dict[str, Any], inside: bool) -> None:
    for node in body:
        if isinstance(node, ast.If):
            _walk(node.body, prefix, found, inside)
        elif isinstance(node, ast.ClassDef):
            found.setdefault(f"{prefix}.{node.name}", [])
            _walk(node.body, f"{prefix}.{node.name}", found, True)
        elif isinstance(node, ast.FunctionDef):
            static = any(ast.unparse(mark) == "staticmethod" for mark in node.decorator_list)
            found.setdefault(f"{prefix}.{node.name}", []).append(
                _parameters(node.args, inside and not static)
            )
        elif isinstance(node, ast.AnnAssign) and isinstance(getattr(node.value, "value", None), int):
            found[f"{prefix}.{ast.unparse(node.target)}"] = ast.literal_eval(node.value)


def _parameters(arguments: ast.arguments, method: bool) -> dict[str, Any]:
    """kind 0 by place only, 1 by both, 2 by name only; each as [name, kind, needed]."""
    plain = [(each.arg, 0) for each in arguments.posonlyargs] + [(each.arg, 1) for each in arguments.args]
    needed = len(plain) - len(arguments.defaults)
    rows = [[name, kind, place < needed] for place, (name, kind) in enumerate(plain)]
    rows = rows[1:] if method else rows
    rows += [
        [each.arg, 2, default is None]
        for each, default in zip(arguments.kwonlyargs, arguments.kw_defaults, strict=True)
    ]
    return {"rows": rows, "more": arguments.vararg is not None, "named": arguments.kwarg is not None}
