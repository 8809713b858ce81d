"""The code as a reader finds it: no function that needs a scroll, no two packages that need each other."""

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[2]
# Lines of a body, its docstring left out, that a screen shows at once.
SCREEN = 60
# What may be longer, with the reason and the lines that it may have. This list only gets shorter.
LONGER = {
    "firmware/brakebeat_fw/detector.py accept": (
        150,
        "the hot path: a call costs a board as much as ten lines",
    ),
    "firmware/brakebeat_fw/detector.py follow": (66, "the hot path likewise"),
}


@cache
def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def _bodies(tree: ast.AST, above: str = "") -> Iterator[tuple[str, int]]:
    """(qualified name, lines of the body) of each function, nested ones and methods, too."""
    for node in ast.iter_child_nodes(tree):
        named = isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            body = node.body[1:] if ast.get_docstring(node) is not None else node.body
            yield above + node.name, node.end_lineno - body[0].lineno + 1 if body else 0
        yield from _bodies(node, f"{above}{node.name}." if named else above)


def _long(folders: list[str], screen: int) -> dict[str, int]:
    found = {}
    for folder in folders:
        for path in sorted((TOP / folder).rglob("*.py")):
            for name, lines in _bodies(_tree(path)):
                if lines > screen:
                    found[f"{path.relative_to(TOP).as_posix()} {name}"] = lines
    return found


def test_no_function_needs_a_scroll():
    found = _long(["host", "firmware"], SCREEN)
    assert {name: lines for name, lines in found.items() if lines > LONGER.get(name, (SCREEN,))[0]} == {}
    assert sorted(LONGER) == sorted(found), "one became short enough: take it off the list"


def test_lines_are_counted_as_an_editor_counts_them():
    source = (
        'class A:\n def f(self):\n  """Says.\n\n  More.\n  """\n  a = 1\n\n  def g():\n   pass\n  return a\n'
    )
    assert dict(_bodies(ast.parse(source))) == {"A.f": 5, "A.f.g": 1}


def _imports(tree: ast.AST, module: str, is_package: bool, *, for_types: bool) -> Iterator[str]:
    """What a module names in its imports, those inside functions too; ``for_types``: those under TYPE_CHECKING too."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.Import):
            yield from (each.name for each in node.names)
        elif isinstance(node, ast.ImportFrom):
            parts = module.split(".")
            above = parts[: len(parts) - node.level + is_package] if node.level else []
            base = ".".join([*above, *([node.module] if node.module else [])])
            yield from (f"{base}.{each.name}" for each in node.names)
        elif isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING" and not for_types:
            continue
        else:
            yield from _imports(node, module, is_package, for_types=for_types)


def _graph(root: Path, *, for_types: bool) -> dict[str, set[str]]:
    """Each module and the modules of the same root that it imports."""
    paths = {
        ".".join(path.relative_to(root.parent).with_suffix("").parts): path for path in root.rglob("*.py")
    }
    paths = {name.removesuffix(".__init__"): path for name, path in paths.items()}
    graph = {}
    for name, path in paths.items():
        named = _imports(_tree(path), name, path.stem == "__init__", for_types=for_types)
        # `from package import name` names a module of it, or something that a module holds.
        found = {each if each in paths else each.rpartition(".")[0] for each in named}
        graph[name] = (found & paths.keys()) - {name}
    return graph


def _cycles(graph: dict[str, set[str]]) -> list[list[str]]:
    """Groups of two or more that reach each other."""
    reach = {}
    for start in graph:
        seen, ahead = set(), [start]
        while ahead:
            new = graph.get(ahead.pop(), set()) - seen
            seen |= new
            ahead += new
        reach[start] = seen
    groups = {tuple(sorted({b for b in reach[a] if a in reach[b]} | {a})) for a in graph if a in reach[a]}
    return sorted(map(list, groups))


def _package(module: str) -> str:
    """The package right under `brakebeat` with all below it, or the module that lies there."""
    return ".".join(module.split(".")[:2])


def test_no_two_packages_need_each_other():
    packages: dict[str, set[str]] = {}
    for module, others in _graph(TOP / "host/brakebeat", for_types=True).items():
        packages.setdefault(_package(module), set()).update(map(_package, others))
    # Within one, modules may import each other; the module graph below looks at those.
    packages = {name: others - {name, "brakebeat"} for name, others in packages.items()}
    assert len(packages) > 20
    assert any("brakebeat.formats" in others for others in packages.values())
    assert _cycles(packages) == []


@pytest.mark.parametrize("root", ["host/brakebeat", "firmware/brakebeat_fw"])
def test_no_two_modules_need_each_other_to_run(root):
    graph = _graph(TOP / root, for_types=False)
    assert sum(map(len, graph.values())) > len(graph) / 2
    assert _cycles(graph) == []


def test_a_cycle_is_found():
    graph = {"a": {"b"}, "b": {"c"}, "c": {"b", "d"}, "d": set()}
    assert _cycles(graph) == [["b", "c"]]


@pytest.mark.parametrize(
    ("line", "names"),
    [
        ("import p.q.r", ["p.q.r"]),
        ("from p.q import r, s", ["p.q.r", "p.q.s"]),
        ("from . import r", ["p.q.r"]),
        ("from .. import r", ["p.r"]),
        ("from .t import r", ["p.q.t.r"]),
        ("def f():\n from p import q", ["p.q"]),
        ("if TYPE_CHECKING:\n from p import q", []),
    ],
)
def test_imports_are_read_however_they_are_written(line, names):
    assert list(_imports(ast.parse(line), "p.q.m", False, for_types=False)) == names
    if line.startswith("from ."):
        assert list(_imports(ast.parse(line), "p.q", True, for_types=False)) == names
