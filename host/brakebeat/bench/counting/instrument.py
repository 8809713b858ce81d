"""Rewrites firmware source so that every integer it computes is seen: its width is what a 32-bit board minds.

Small integers of a 32-bit MicroPython have 31 bits: from 2^30 on a value takes heap, and in viper code 32-bit
arithmetic is near its end. Viper code on CPython computes the same as long as nothing gets there.
"""

from __future__ import annotations

import ast
from dataclasses import dataclass, field
from typing import Any

SMALL_INT = 2**30
_SEEN, _STORED = "__seen__", "__stored__"


@dataclass
class Widths:
    """What was seen: greatest magnitude, and least value stored in an array, by line of source."""

    greatest: dict[int, int] = field(default_factory=dict)
    least_stored: dict[int, int] = field(default_factory=dict)
    values: int = 0

    @property
    def most(self) -> int:
        """The greatest magnitude of all."""
        return max(self.greatest.values(), default=0)

    def lines_beyond(self, limit: int = SMALL_INT) -> dict[int, int]:
        """Lines on which a value reached ``limit``, with the greatest magnitude."""
        return {line: most for line, most in sorted(self.greatest.items()) if most >= limit}

    def lines_negative(self) -> dict[int, int]:
        """Lines on which a negative value was stored, with the least."""
        return {line: least for line, least in sorted(self.least_stored.items()) if least < 0}

    def see(self, value: Any, line: int) -> Any:
        """Note a value computed on a line."""
        if type(value) is int:
            self.values += 1
            if abs(value) > self.greatest.get(line, -1):
                self.greatest[line] = abs(value)
        return value

    def store(self, value: Any, line: int) -> Any:
        """Note a value on its way into an array on a line."""
        if type(value) is int:
            self.least_stored[line] = min(value, self.least_stored.get(line, value))
        return value


def instrumented(source: str, name: str, widths: Widths) -> tuple[Any, dict[str, Any]]:
    """``source`` as code that reports to ``widths``, and the names that its globals must hold."""
    tree = ast.fix_missing_locations(_Reporter().visit(ast.parse(source, name)))
    return compile(tree, name, "exec"), {_SEEN: widths.see, _STORED: widths.store}


class _Reporter(ast.NodeTransformer):
    """Wraps each arithmetic result, each array read and each array write."""

    def visit_BinOp(self, node: ast.BinOp) -> ast.AST:
        self.generic_visit(node)
        return _seen(node, node.lineno)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> ast.AST:
        self.generic_visit(node)
        return node if isinstance(node.op, ast.Not) else _seen(node, node.lineno)

    def visit_Subscript(self, node: ast.Subscript) -> ast.AST:
        self.generic_visit(node)
        return _seen(node, node.lineno) if isinstance(node.ctx, ast.Load) else node

    def visit_AugAssign(self, node: ast.AugAssign) -> ast.AST:
        read = ast.parse(ast.unparse(node.target), mode="eval").body
        value = ast.BinOp(left=read, op=node.op, right=node.value)
        plain = ast.Assign(targets=[node.target], value=ast.copy_location(value, node))
        for part in ast.walk(plain):
            ast.copy_location(part, node)
        return self.visit(plain)

    def visit_Assign(self, node: ast.Assign) -> ast.AST:
        self.generic_visit(node)
        if any(isinstance(target, ast.Subscript) for target in node.targets):
            node.value = _call(_STORED, [node.value, ast.Constant(node.lineno)])
        return node


def _seen(node: ast.expr, line: int) -> ast.Call:
    return _call(_SEEN, [node, ast.Constant(line)])


def _call(name: str, arguments: list[ast.expr]) -> ast.Call:
    call = ast.Call(func=ast.Name(id=name, ctx=ast.Load()), args=arguments, keywords=[])
    return ast.copy_location(call, arguments[0])
