"""How the house is built: imports form no circle and stay out of other packages' private modules (their direction: `test_api.py`)."""

from __future__ import annotations

import ast
import itertools
import re
from collections.abc import Iterable
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[1]

# how a comment says where a number comes from (DEVELOPERS.md, numbers)
ORIGIN = re.compile(
    r"common practice|\bchosen\b|\bchoices?\b|measured|fitted|clearance|tests/studies|\bstudy(\b|_)|definition|from memory|"
    r"\bas (in|the|for|there)\b|\b(19|20)\d\d\b",
    re.IGNORECASE,
)


def _name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


@cache
def _nodes(path: Path) -> list[ast.AST]:
    """The syntax tree of a module, itself first."""
    return list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))


@cache
def _graph() -> dict[str, set[str]]:
    """Which modules each module imports, late imports and those of the type checker too."""
    files = sorted((ROOT / "flicker").rglob("*.py"))
    known = {_name(path) for path in files}
    out: dict[str, set[str]] = {}
    for path in files:
        found = set()
        for node in _nodes(path):
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


def test_private_modules_stay_within_their_folder():
    wrong = []
    for module, found in _graph().items():
        for other in found:
            parent, _, last = other.rpartition(".")
            if last.startswith("_") and last != "_version" and not module.startswith(parent):
                wrong.append(f"{module} -> {other}")
    assert wrong == []


# a call of the operating system; how a fitted model of scikit-learn is taken apart (a script that is run by hand)
OF_OTHERS = {"os._exit", "model._predictors", "model._baseline_prediction"}


def _private(nodes: Iterable[ast.AST]) -> list[str]:
    """Names with a leading underscore that a test takes from elsewhere; those of protocols (`_repr_html_`) are public."""
    out = []
    for node in nodes:
        if isinstance(node, ast.ImportFrom) and str(node.module).startswith("flicker"):
            found = [f"{node.module}.{item.name}" for item in node.names if item.name != "_version"]
        elif isinstance(node, ast.Constant) and str(node.value).startswith("flicker."):
            found = [str(node.value)]
        elif isinstance(node, ast.Attribute) and re.fullmatch(r"_[^_](.*[^_])?", node.attr):
            found = [ast.unparse(node)] if ast.unparse(node.value) not in {"self", "cls", "super()"} else []
        else:
            continue
        out += [name for name in found if re.search(r"\._(?!_)", name)]
    return out


def test_no_test_imports_a_private_name():
    """A test that knows a private name breaks with each move within a module; also by attribute, and named in a text."""
    unsound = "from flicker.a import _b\nc._d()\npatch('flicker.e._f', 1)"
    assert [len(_private(ast.walk(ast.parse(text)))) for text in (unsound, "self._a._b_ + result._repr_html_()")] == [3, 0]
    assert [
        f"{path.relative_to(ROOT)}: {name}"
        for path in sorted((ROOT / "tests").rglob("*.py"))
        for name in _private(_nodes(path))
        if name not in OF_OTHERS
    ] == []


def test_the_graph_sees_an_import():
    assert "flicker.base.result" in _graph()["flicker.evidence.findings"]


def test_no_folder_is_too_full():
    full = {path.parent: len(list(path.parent.glob("*.py"))) - 1 for path in (ROOT / "flicker").rglob("__init__.py")}
    assert {str(folder): number for folder, number in full.items() if number > 20} == {}


def test_every_folder_says_what_is_in_it():
    for path in (ROOT / "flicker").rglob("__init__.py"):
        assert (ast.get_docstring(_nodes(path)[0]) or "").strip(), path


def _is_number(node: ast.expr) -> bool:
    """A number, or something reckoned from or made of some."""
    if isinstance(node, ast.Constant):
        return isinstance(node.value, (int, float)) and not isinstance(node.value, bool)
    if isinstance(node, ast.UnaryOp):
        return _is_number(node.operand)
    if isinstance(node, ast.BinOp):
        return _is_number(node.left) or _is_number(node.right)
    return isinstance(node, (ast.Tuple, ast.List)) and any(_is_number(item) for item in node.elts)


def _without_origin(text: str) -> list[str]:
    """Named constants whose comment (beside, above, or at the head of their block) names no origin."""
    lines = text.splitlines()
    out = []
    for node in ast.parse(text).body:
        if not isinstance(node, (ast.Assign, ast.AnnAssign)) or node.value is None or not _is_number(node.value):
            continue
        target = node.targets[0] if isinstance(node, ast.Assign) else node.target
        names = [item.id for item in ast.walk(target) if isinstance(item, ast.Name)]
        if not names or not all(name == name.upper() for name in names):
            continue
        first = node.lineno - 1
        while first and lines[first - 1].strip():
            first -= 1
        block = lines[first : node.lineno - 1]
        head = list(itertools.takewhile(lambda line: line.startswith("#"), block))  # speaks for the whole block
        above = list(itertools.takewhile(lambda line: line.startswith("#"), reversed(block)))
        said = [line.partition("#")[2] for line in (*head, *reversed(above), *lines[node.lineno - 1 : node.end_lineno])]
        if not ORIGIN.search(" ".join(said)):
            out.append(", ".join(names))
    return out


def test_every_number_says_where_it_comes_from():
    assert _without_origin("A_S = 3.0  # long\nB = 2  # a choice\n\n# Fitted by x.py.\nC = 1\nD = (1, 2)\n") == ["A_S"]
    wrong = []
    for room in ("signals", "evidence"):
        for path in sorted((ROOT / "flicker" / room).rglob("*.py")):
            wrong += [f"{_name(path)}: {name}" for name in _without_origin(path.read_text(encoding="utf-8"))]
    assert wrong == []


TOLD = {"reads", "note", "method", "tail", "technician", "caution", "cautions", "comparable", "notes"}  # sentences


def _is_told(node: ast.expr) -> bool:
    if isinstance(node, ast.Name):
        return node.id in TOLD - {"method"}  # an argument of that name is an option
    return isinstance(node, ast.Attribute) and node.attr in TOLD


def _is_text(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, str) and bool(node.value)


def _read_back(nodes: Iterable[ast.AST]) -> list[str]:
    """Where a sentence is searched or compared with a text, so that its wording decides."""
    out = []
    for node in nodes:
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and _is_told(node.func.value):
            if node.func.attr in {"startswith", "endswith", "find", "index", "count"}:
                out.append(ast.unparse(node))
        elif isinstance(node, ast.Compare):
            for op, left, right in zip(node.ops, (node.left, *node.comparators), node.comparators, strict=False):
                searched = isinstance(op, (ast.In, ast.NotIn)) and _is_text(left) and _is_told(right)
                same = isinstance(op, (ast.Eq, ast.NotEq)) and {_is_text(left), _is_told(right)} == {True}
                other = isinstance(op, (ast.Eq, ast.NotEq)) and {_is_told(left), _is_text(right)} == {True}
                if searched or same or other:
                    out.append(ast.unparse(node))
    return out


def test_no_sentence_is_read_back():
    sound = 'if change.withdrawn or note.kind == "remark": pass'
    unsound = 'if note.startswith("not") or "sure" in x.reads or x.tail == "a": pass'
    assert [len(_read_back(ast.walk(ast.parse(text)))) for text in (unsound, sound)] == [3, 0]
    assert [
        f"{_name(path)}: {found}"
        for path in sorted((ROOT / "flicker").rglob("*.py"))
        for found in _read_back(_nodes(path))
    ] == []


def test_results_are_made_with_named_arguments():
    """Six numbers by place are six chances to swap two of them."""
    trees = {path: _nodes(path) for path in sorted((ROOT / "flicker").rglob("*.py"))}
    ours = {
        node.name
        for nodes in trees.values()
        for node in nodes
        if isinstance(node, ast.ClassDef)
        and any(kind in ast.unparse(mark) for mark in (*node.decorator_list, *node.bases) for kind in ("dataclass", "NamedTuple"))
    }
    assert len(ours) > 100
    by_place = [
        f"{path.relative_to(ROOT)}:{node.lineno} {node.func.id}"
        for path, nodes in trees.items()
        for node in nodes
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ours
        if len(node.args) >= 6
    ]
    assert by_place == []


# public functions whose keywords are the contract
MANY_KEYWORDS = {
    "age_forecast", "assess", "comparison_needs", "comparison_power", "plan_soak", "rate_changes", "rate_growth", "rate_ratio",
    "rate_since", "rate_steps", "read_log", "simulate_log", "survey",
}  # fmt: skip


def test_no_function_takes_eight_arguments_but_public_ones():
    """What belongs together is handed over as one record."""
    many = {
        node.name
        for path in sorted((ROOT / "flicker").rglob("*.py"))
        for node in _nodes(path)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and len([one for one in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs) if one.arg not in ("self", "cls")]) >= 8
    }
    assert many == MANY_KEYWORDS


def test_reading_multiplies_no_vectors():
    # linear algebra libraries share such a product among threads: reading then cost five times the processor time (tests/benchmarks)
    for path in (ROOT / "flicker/logs").rglob("*.py"):
        for node in _nodes(path):
            assert not isinstance(node, ast.MatMult), path
            assert not (isinstance(node, ast.Attribute) and node.attr in {"dot", "vdot", "matmul", "linalg"}), path
