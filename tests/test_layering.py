"""Imports point one way, along the flow of the keeper's job."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import leavenbench

PACKAGE = Path(leavenbench.__file__).parent
LEAVES = {"columns", "declaration", "units", "temperature", "errors", "curves.models"}
#: Each room with the rooms that it may look into, besides itself and the leaves.
MAY_IMPORT = {
    "records": set(),
    "simulate": set(),  # stands on leaves alone, so that anything may use it
    "curves": {"records"},
    "vigour": {"records", "curves"},
    "compare": {"records", "curves", "vigour"},
    "watch": {"records", "curves", "vigour"},
    "care": {"records", "curves", "vigour", "compare", "watch"},
    "report": {"records", "curves", "vigour", "compare", "watch", "care"},
}
MODULES = sorted(path.relative_to(PACKAGE) for path in PACKAGE.rglob("*.py"))


def imported(path: Path) -> set[str]:
    """Return the modules of this package that a file imports, late imports included."""
    package = path.parent.parts
    found = set()
    for node in ast.walk(ast.parse((PACKAGE / path).read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            if node.level:
                above = package[: len(package) - node.level + 1]
                module = ".".join([*above, *(node.module.split(".") if node.module else [])])
                found |= {module} if node.module else {".".join([*above, alias.name]) for alias in node.names}
            elif node.module and node.module.split(".")[0] == "leavenbench":
                found.add(node.module.partition(".")[2])
        elif isinstance(node, ast.Import):
            found |= {alias.name.partition(".")[2] for alias in node.names if alias.name.startswith("leavenbench")}
    return found


@pytest.mark.parametrize("path", [path for path in MODULES if len(path.parts) > 1], ids=str)
def test_a_room_looks_only_upstream(path):
    room = path.parts[0]
    name = ".".join(path.with_suffix("").parts)
    rooms = {module.split(".")[0] for module in imported(path) if module not in LEAVES}
    allowed = {"declaration", "columns"} if name in LEAVES else {room, "simulate", *MAY_IMPORT[room]}
    assert rooms <= allowed, f"{path} imports {sorted(rooms - allowed)}"


@pytest.mark.parametrize("leaf", sorted(LEAVES))
def test_a_leaf_stands_on_leaves_alone(leaf):
    path = Path(*leaf.split(".")).with_suffix(".py")
    assert imported(path) <= LEAVES


def test_only_report_draws():
    drawing = {path.parts[0] for path in MODULES if "matplotlib" in (PACKAGE / path).read_text(encoding="utf-8")}
    assert drawing <= {"report"}


def test_every_room_has_its_place_in_the_flow():
    rooms = {path.parts[0] for path in MODULES if len(path.parts) > 1}
    assert rooms <= set(MAY_IMPORT)
    assert {"records", "curves", "vigour", "watch", "simulate", "report"} <= rooms
