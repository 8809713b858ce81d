"""Makes the public API's pages from its docstrings, by pdoc: ``python .ci/api_page.py FOLDER``, then open
FOLDER/index.html.

Public is what ``PUBLIC`` names; the rest may change from one day to the next. A public name without a docstring is
an error, so that the pages stay whole.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

import pdoc
import pdoc.doc
import pdoc.render

PUBLIC = (
    "brakebeat.results",
    "brakebeat.errors",
    "brakebeat.formats.recording",
    "brakebeat.formats.rig",
    "brakebeat.formats.rig_model",
    "brakebeat.board",
    "brakebeat.reference",
    "brakebeat.check",
    "brakebeat.many.run",
    "brakebeat.many.work",
    "brakebeat.many.processes",
    "brakebeat.many.cluster",
    "brakebeat.many.columns",
    "brakebeat.simulate",
    "brakebeat.calibrate.result",
    "brakebeat.interchange",
    "brakebeat.link",
    "brakebeat.store",
    "brakebeat.plot",
    "brakebeat.report",
    "brakebeat.samples",
)


def undocumented(modules: Iterable[pdoc.doc.Module]) -> Iterator[str]:
    """Public modules, and their public classes, functions, methods and properties, that have no docstring."""
    for module in modules:
        yield from _bare(module)


def _bare(doc: pdoc.doc.Namespace) -> Iterator[str]:
    if not doc.docstring:
        yield doc.fullname
    for member in doc.members.values():
        if not _is_public(member) or (
            isinstance(doc, pdoc.doc.Module) and isinstance(member, pdoc.doc.Module)
        ):
            continue
        if isinstance(member, pdoc.doc.Class):
            yield from _bare(member)
        elif isinstance(member, pdoc.doc.Function) and not member.docstring:
            yield member.fullname


def _is_public(member: pdoc.doc.Doc) -> bool:
    inherited = isinstance(member, pdoc.doc.Function) and not member.source_file
    ours = member.modulename.startswith("brakebeat") and member.taken_from[0].startswith("brakebeat")
    return ours and not inherited and not member.name.startswith("_")


def main() -> int:
    """Build into the folder of the call; 1 where a docstring is missing."""
    if len(sys.argv) != 2:
        print("python .ci/api_page.py FOLDER", file=sys.stderr)
        return 2
    modules = {name: pdoc.doc.Module.from_name(name) for name in PUBLIC}
    missing = list(undocumented(modules.values()))
    if missing:
        print("no docstring: " + ", ".join(missing), file=sys.stderr)
        return 1
    # Nothing but these: `pdoc NAME` would bring along every module below.
    pdoc.render.configure(docformat="google", search=False)
    folder = Path(sys.argv[1])
    for name, module in modules.items():
        page = folder / f"{name.replace('.', '/')}.html"
        page.parent.mkdir(parents=True, exist_ok=True)
        page.write_bytes(pdoc.render.html_module(module, modules).encode())
    (folder / "index.html").write_bytes(pdoc.render.html_index(modules).encode())
    print(f"{len(modules)} pages: {folder / 'index.html'}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
