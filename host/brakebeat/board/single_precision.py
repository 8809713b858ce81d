"""Runs a script with floats as 32-bit boards have them: ``python single_precision.py SCRIPT ARGUMENT…``.

The VM and CPython compute with doubles, most boards in single precision. Here the firmware's files are compiled so that
every result of float arithmetic is rounded as IEEE 754 asks of single precision: the four operations and powers are
worked out in double and rounded once more, which for the four is the same as rounding once, since a double has more
than twice a single's digits plus two (S. Figueroa, When is double rounding innocuous?, 1995; from memory). Viper
functions know no floats and stay as they are.
"""

from __future__ import annotations

import ast
import builtins
import copy
import importlib.machinery
import operator
import runpy
import sys
from collections.abc import Callable
from ctypes import c_float
from pathlib import Path
from typing import Any

# As in ``files``, which cannot be asked: like ``cpython_shim``, this runs by itself.
PACKAGE = "brakebeat_fw"
_RESULT = "_single_result"
_OPERATIONS: dict[str, Callable[[Any, Any], Any]] = {
    "Add": operator.add,
    "Sub": operator.sub,
    "Mult": operator.mul,
    "Div": operator.truediv,
    "FloorDiv": operator.floordiv,
    "Mod": operator.mod,
    "Pow": operator.pow,
}


def rounded(value: Any) -> Any:
    """A float in single precision (beyond its range infinite); anything else as it is."""
    return c_float(value).value if type(value) is float else value


def _single(name: str) -> Callable[[Any, Any], Any]:
    operation = _OPERATIONS[name]
    always = name == "Div"

    def apply(left: Any, right: Any) -> Any:
        if type(left) is float or type(right) is float or always:
            # A board turns whole numbers into floats first.
            if type(left) in (int, float):
                left = c_float(left).value
            if type(right) in (int, float):
                right = c_float(right).value
        return rounded(operation(left, right))

    return apply


class SinglePrecision(ast.NodeTransformer):
    """Rewrites a module's arithmetic to calls that round."""

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        """Leave viper functions alone."""
        if not any(isinstance(mark, ast.Attribute) and mark.attr == "viper" for mark in node.decorator_list):
            self.generic_visit(node)
        return node

    def visit_Constant(self, node: ast.Constant) -> ast.AST:
        """A float in the text is rounded as the board reads it."""
        return ast.copy_location(ast.Constant(rounded(node.value)), node)

    def visit_BinOp(self, node: ast.BinOp) -> ast.AST:
        """``a + b`` becomes a call."""
        self.generic_visit(node)
        name = type(node.op).__name__
        if name not in _OPERATIONS:
            return node
        return _call(f"_single_{name}", [node.left, node.right], node)

    def visit_AugAssign(self, node: ast.AugAssign) -> ast.AST:
        """``a += b`` becomes ``a = a + b``: what is assigned to is looked up twice."""
        self.generic_visit(node)
        name = type(node.op).__name__
        if name not in _OPERATIONS:
            return node
        value = copy.deepcopy(node.target)
        value.ctx = ast.Load()
        sum_ = _call(f"_single_{name}", [value, node.value], node)
        return ast.copy_location(ast.Assign([node.target], sum_), node)

    def visit_Call(self, node: ast.Call) -> ast.AST:
        """What ``log``, ``float`` and their kind return is rounded; nothing else returns a new float."""
        self.generic_visit(node)
        if isinstance(node.func, ast.Name) and node.func.id in ("log", "float", "sum", "round"):
            return _call(_RESULT, [node], node)
        return node


def _call(name: str, arguments: list[ast.expr], node: ast.expr | ast.stmt) -> ast.Call:
    return ast.copy_location(ast.Call(ast.Name(name, ast.Load()), arguments, []), node)


def compiled(source: str | bytes, path: str) -> Any:
    """Code of a module whose floats are single. ``prepare`` must have been called before it runs."""
    tree = ast.fix_missing_locations(SinglePrecision().visit(ast.parse(source)))
    return compile(tree, path, "exec")


def prepare() -> None:
    """Make what the rewritten code calls known."""
    vars(builtins)[_RESULT] = rounded
    for name in _OPERATIONS:
        vars(builtins)[f"_single_{name}"] = _single(name)


class _Loader(importlib.machinery.SourceFileLoader):
    def get_code(self, fullname: str) -> Any:
        # Nothing is cached: the same files are also run as they are.
        return compiled(self.get_data(self.path), self.path)


class _Finder:
    @staticmethod
    def find_spec(name: str, path: Any, target: Any = None) -> Any:
        if name.partition(".")[0] != PACKAGE:
            return None
        spec = importlib.machinery.PathFinder.find_spec(name, path)
        if spec is not None and isinstance(spec.loader, importlib.machinery.SourceFileLoader):
            spec.loader = _Loader(spec.loader.name, spec.loader.path)
        return spec


def main() -> None:
    """Run the script that the command line names."""
    runpy.run_path(str(Path(__file__).with_name("cpython_shim.py")))["install"]()
    prepare()
    sys.meta_path.insert(0, _Finder)
    sys.argv = sys.argv[1:]
    runpy.run_path(sys.argv[0], run_name="__main__")


if __name__ == "__main__":
    main()
