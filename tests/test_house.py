"""How the house is built: imports point one way, in no circle, and stay out of other packages' private modules."""

from __future__ import annotations

import ast
from pathlib import Path

ROOT = Path(__file__).parents[1]

# each may import itself and what stands before it
LAYERS = (
    {"_version"}, {"base"}, {"stats"}, {"logs"}, {"signals", "simulate"}, {"case"}, {"evidence"}, {"present", "survey_table"},
    {"commands"}, {"cli"},
)  # fmt: skip
LEVEL = {room: level for level, rooms in enumerate(LAYERS) for room in rooms}


def _name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def _graph() -> dict[str, set[str]]:
    """Which modules each module imports, late imports and those of the type checker too."""
    files = sorted((ROOT / "flicker").rglob("*.py"))
    known = {_name(path) for path in files}
    out: dict[str, set[str]] = {}
    for path in files:
        found = set()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {item.name for item in node.names}
            elif isinstance(node, ast.ImportFrom):
                assert node.level == 0, f"{path}: relative import"
                names = [f"{node.module}.{item.name}" for item in node.names]
                found |= {name if name in known else str(node.module) for name in names}
        out[_name(path)] = {name for name in found if name in known and name != _name(path)}
    return out


def test_no_circle():
    graph = _graph()
    done: dict[str, bool] = {}

    def visit(module: str, trail: tuple[str, ...]) -> None:
        assert module not in trail, " -> ".join([*trail[trail.index(module) :], module])
        if module not in done:
            for other in sorted(graph[module]):
                visit(other, (*trail, module))
            done[module] = True

    for module in sorted(graph):
        visit(module, ())


def test_imports_point_one_way():
    wrong = []
    for module, found in _graph().items():
        room = module.split(".")[1] if "." in module else None
        for other in found:
            below = other.split(".")[1] if "." in other else None
            if room in LEVEL and below in LEVEL and room != below and LEVEL[below] >= LEVEL[room]:
                wrong.append(f"{module} -> {other}")
    assert wrong == []


def test_private_modules_stay_within_their_folder():
    wrong = []
    for module, found in _graph().items():
        for other in found:
            parent, _, last = other.rpartition(".")
            if last.startswith("_") and last != "_version" and not module.startswith(parent):
                wrong.append(f"{module} -> {other}")
    assert wrong == []


def test_the_graph_sees_an_import():
    assert "flicker.base.result" in _graph()["flicker.evidence.findings"]


def test_every_folder_says_what_is_in_it():
    for path in (ROOT / "flicker").rglob("__init__.py"):
        assert (ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or "").strip(), path
