"""Which named numbers of `flicker/signals` and `flicker/evidence` carry weight? Each a third down and up, on logs drawn once. By hand.

    python tests/studies/study_numbers.py --seed 71 --out rows.jsonl                  both passes over all documents
    python tests/studies/study_numbers.py --after 1 --step 2 --out b --beside a       one of two processes that share them
    python tests/studies/study_numbers.py --seed 72 --all --watched [--only NAME ...] the first pass alone, over all stories
    python tests/studies/study_numbers.py --table rows.jsonl ...                      the table of results/constants.md
    python tests/studies/study_numbers.py --list                                      the numbers

All documents of the drawn logs (assessments, comparisons, visits, soaks, watches) are made once by modules in which every expression
that holds a number is worked out three times, with the number as it is, a third smaller and a third larger: where the value of
the expression stays the same, so does the document. Only documents in which it does not are made again, in a child process that
loads the rooms anew with the number changed in the source, so that default arguments and tables made from it change as well.
A number of `evidence` that plays no part while traces are made is judged from the traces on. A number is tried on a few documents:
first those in which it turns a yes into a no, cleared ones and others in turn, the cheapest first; the first other answer or figure ends it. Where a third
down acts, a third up is tried last. Answers are enumerated values (verdict, fitness, reasons, outcomes); figures are all other values but sentences and the
limits that a document repeats.
"""

from __future__ import annotations

import argparse
import ast
import dataclasses
import datetime as dt
import importlib
import importlib.abc
import importlib.util
import json
import os
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any, ClassVar

sys.path.insert(0, str(Path(__file__).parent))
import danger_bench
import fresh_benches
import lead_bench
import numpy as np
import second_bench
import slow_logs
import study_aspects
import study_verdict

from flicker.base.limits import Limits
from flicker.case.case_file import read_case
from flicker.logs.growing import Fresh
from flicker.logs.reading import read_log
from flicker.simulate import simulate_log

ROOT = Path(__file__).resolve().parents[2]
HOUSE = ROOT / "flicker"
ROOMS = ("signals", "evidence")
ABOVE = ("evidence", "present", "commands", "survey_table", "ledger", "cli")  # loaded anew with every number
SENTENCES = {"reads", "method", "tail", "cautions", "notes", "note", "words", "text", "reason", "line", "technician", "not_excluded",
             "against", "what_if_reads", "comparable", "not_comparable", "holds_text", "message", "advice", "correction"}  # fmt: skip
ANSWERS = {"verdict", "fitness", "tail_kind", "answer", "outcome", "cured", "aspect", "reasons", "event", "kind", "bound", "sided"}


# ------------------------------------------------------------------------------------------------- the numbers


@dataclasses.dataclass(frozen=True)
class Number:
    """A named number: where it stands, its source text, what is made from it, and whether something takes it as its default."""

    module: str
    name: str
    text: str
    makes: frozenset[tuple[str, str]]
    silently: bool

    @property
    def called(self) -> str:
        """Its name in tables."""
        return f"{self.module.removeprefix('flicker.')}.{self.name}"


def is_number(node: ast.expr) -> bool:
    """Whether an expression is made of numbers, or holds them."""
    if isinstance(node, ast.Constant):
        return isinstance(node.value, (int, float)) and not isinstance(node.value, bool)
    parts: Sequence[ast.expr | None] = ()
    if isinstance(node, ast.UnaryOp):
        parts = (node.operand,)
    if isinstance(node, ast.BinOp):
        parts = (node.left, node.right)
    if isinstance(node, (ast.Tuple, ast.List)):
        parts = node.elts
    if isinstance(node, ast.Dict):
        parts = (*node.keys, *node.values)
    if isinstance(node, ast.Call):
        parts = node.args
    return any(part is not None and is_number(part) for part in parts)


def named(tree: ast.Module) -> Iterator[tuple[str, ast.expr]]:
    """Names and values of a module's numbers: upper-case names, and defaults of the fields of its classes."""
    for node in tree.body:
        if isinstance(node, (ast.Assign, ast.AnnAssign)) and node.value is not None:
            target = node.targets[0] if isinstance(node, ast.Assign) else node.target
            several = isinstance(target, ast.Tuple) and isinstance(node.value, ast.Tuple)
            pairs = zip(target.elts, node.value.elts, strict=True) if several else [(target, node.value)]  # type: ignore[union-attr]
            for one, value in pairs:
                if isinstance(one, ast.Name) and one.id == one.id.upper() and is_number(value):
                    yield one.id, value
        if isinstance(node, ast.ClassDef):
            for field in node.body:
                value = field.value if isinstance(field, ast.AnnAssign) and isinstance(field.target, ast.Name) else None
                if isinstance(value, ast.Constant) and is_number(value) and value.value:
                    yield f"{node.name}.{field.target.id}", value


def module_of(path: Path) -> str:
    """The dotted name of a module."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def holds(node: ast.AST | None, name: str) -> bool:
    """Whether a name is read in a piece of source."""
    return node is not None and any(isinstance(x, ast.Name) and x.id == name for x in ast.walk(node))


def defaults_of(tree: ast.Module) -> Iterator[ast.AST]:
    """What is worked out when a module is loaded and is no named number: defaults, and the bodies of classes."""
    for node in ast.walk(tree):
        if isinstance(node, (ast.FunctionDef, ast.Lambda)):
            yield from (x for x in (*node.args.defaults, *node.args.kw_defaults) if x is not None)
        if isinstance(node, ast.ClassDef):
            yield from (x for x in node.body if not isinstance(x, ast.FunctionDef))


TREES = {module_of(path): ast.parse(path.read_text(encoding="utf-8")) for path in sorted(HOUSE.rglob("*.py"))}
OWN = {module: dict(named(tree)) for module, tree in TREES.items()}


def home_of(module: str, name: str) -> tuple[str, str] | None:
    """The module that gave a name its number, and the name there."""
    if name in OWN.get(module, ()):
        return module, name
    for node in ast.walk(TREES[module]) if module in TREES else ():
        if isinstance(node, ast.ImportFrom) and any(item.name == name for item in node.names):
            return home_of(str(node.module), name)
    return None


def numbers() -> list[Number]:
    """All named numbers of the rooms."""
    users: dict[tuple[str, str], set[str]] = defaultdict(set)
    for module, tree in TREES.items():
        for name in {x.id for x in ast.walk(tree) if isinstance(x, ast.Name) and x.id == x.id.upper()}:
            if home := home_of(module, name):
                users[home].add(module)

    def made(home: tuple[str, str]) -> set[tuple[str, str]]:
        of = {(m, n) for m in users[home] for n, value in OWN[m].items() if holds(value, home[1]) and (m, n) != home}
        return of.union(*map(made, of))

    out = []
    for module, own in OWN.items():
        for name, value in own.items() if module.startswith(tuple(f"flicker.{room}" for room in ROOMS)) else ():
            all_of = {(module, name)} | made((module, name))
            silently = "." in name or any(holds(x, n) for home in all_of for m in users[home] for n in [home[1]] for x in defaults_of(TREES[m]))
            out.append(Number(module, name, ast.unparse(value), frozenset(all_of), silently))
    return out


def moved(value: Any, factor: float) -> Any:
    """A number, or each number of a table, by a factor; a share stays a share, a count a count."""
    if isinstance(value, np.ndarray):
        return value * factor
    if isinstance(value, (tuple, list)):
        return type(value)(moved(x, factor) for x in value)
    if isinstance(value, dict):
        if all(isinstance(x, (int, float)) for x in value.values()):
            return {key: moved(x, factor) for key, x in value.items()}
        return {moved(key, factor): x for key, x in value.items()}
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return value
    if isinstance(value, int):
        new = max(round(value * factor), 1)
        return new if new != value else value + (1 if factor > 1 else -1)
    if 0.5 < value < 1.0 <= value * factor:
        return 1.0 - (1.0 - value) * (2.0 - factor)
    return value * factor


def spec_of(module: str, loader: Any) -> Any:
    """Where a module of the house lies, to be loaded by a loader of our own."""
    place = ROOT.joinpath(*module.split("."))
    if place.is_dir():
        return importlib.util.spec_from_file_location(
            module, place / "__init__.py", loader=loader, submodule_search_locations=[str(place)]
        )
    return importlib.util.spec_from_file_location(module, place.with_suffix(".py"), loader=loader)


class _Replaced(ast.NodeTransformer):
    """Puts one piece of source in the place of another."""

    def __init__(self, old: ast.AST, new: ast.expr) -> None:
        self.old, self.new = old, new

    def visit(self, node: ast.AST) -> Any:
        """The new piece where the old one stood."""
        return ast.copy_location(self.new, node) if node is self.old else self.generic_visit(node)


class Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Loads one module with one of its numbers moved."""

    def __init__(self, number: Number, factor: float) -> None:
        self.number, self.factor = number, factor

    def find_spec(self, fullname: str, path: Any, target: ModuleType | None = None) -> Any:
        """The module whose number moves, loaded here."""
        return spec_of(fullname, self) if fullname == self.number.module else None

    def exec_module(self, module: ModuleType) -> None:
        """Run the module's source with the number replaced by a call that moves it."""
        file = str(module.__spec__.origin)  # type: ignore[union-attr]
        tree = ast.parse(Path(file).read_text(encoding="utf-8"))
        value = dict(named(tree))[self.number.name]
        call = ast.Call(ast.Name("_moved", ast.Load()), [value, ast.Constant(self.factor)], [])
        tree = _Replaced(value, call).visit(tree)
        module.__dict__["_moved"] = moved
        exec(compile(ast.fix_missing_locations(tree), file, "exec"), module.__dict__)


PURE = (ast.Compare, ast.BoolOp, ast.BinOp, ast.UnaryOp, ast.IfExp, ast.Name, ast.Attribute, ast.Constant, ast.Subscript,
        ast.Slice, ast.Tuple, ast.operator, ast.unaryop, ast.cmpop, ast.boolop, ast.expr_context)  # fmt: skip
PURE_CALLS = {"min", "max", "abs", "len", "round", "int", "float", "any", "all", "sum", "mean", "ptp", "flatnonzero", "count_nonzero",
              "diff", "sort", "minimum", "maximum", "where", "clip", "sqrt", "log", "exp", "isfinite", "searchsorted", "arange"}  # fmt: skip
CHANGES: dict[str, set[Any]] = {"early": set(), "late": set(), "decided": set()}
NOW = ["late"]


def pure(node: ast.AST) -> bool:
    """Whether working a piece of source out twice changes nothing."""
    if isinstance(node, ast.Call):
        called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        return called in PURE_CALLS and all(map(pure, (node.func, *node.args, *(k.value for k in node.keywords))))
    return isinstance(node, PURE) and all(map(pure, ast.iter_child_nodes(node)))


def same(one: Any, two: Any) -> bool:
    """Whether two values are the same; what cannot be told is not."""
    try:
        return type(one) is type(two) and bool(np.array_equal(one, two, equal_nan=isinstance(one, (float, np.ndarray)) and np.asarray(one).dtype.kind == "f"))
    except (TypeError, ValueError):
        return False


def _watched(homes: list[tuple[str, str]], values: list[Any], work: Callable[..., Any]) -> Any:
    """The value of an expression; notes which of its numbers would change it."""
    out = work(*values)
    decides = isinstance(out, bool) or getattr(getattr(out, "dtype", None), "kind", "") == "b"
    for place, home in enumerate(homes):
        for factor in (2 / 3, 4 / 3):
            key = (*home, factor)
            if key not in CHANGES[NOW[0]] or (decides and key not in CHANGES["decided"]):
                try:
                    other = work(*values[:place], moved(values[place], factor), *values[place + 1 :])
                except Exception:
                    other = Ellipsis
                if not same(out, other):
                    CHANGES[NOW[0]].add(key)
                    if decides:
                        CHANGES["decided"].add(key)
    return out


class Watching(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Loads the modules of the house so that each expression that holds a number is watched."""

    def find_spec(self, fullname: str, path: Any, target: ModuleType | None = None) -> Any:
        """The module's own file, loaded here."""
        if fullname not in TREES or fullname.split(".")[1:2] not in [[room] for room in (*ROOMS, *ABOVE)]:
            return None
        return spec_of(fullname, self)

    def exec_module(self, module: ModuleType) -> None:
        """Run the module's source with the largest pure expressions about each number watched."""
        file = str(module.__spec__.origin)  # type: ignore[union-attr]
        tree = ast.parse(Path(file).read_text(encoding="utf-8"))
        names = {x.id for x in ast.walk(tree) if isinstance(x, ast.Name) and x.id == x.id.upper()}
        homes = {name: home for name in names if (home := home_of(module.__name__, name))}
        if homes:
            for node in ast.walk(tree):
                if isinstance(node, ast.FunctionDef):
                    node.body = [_Watch(homes).visit(part) for part in node.body]
        module.__dict__["_watched"] = _watched
        exec(compile(ast.fix_missing_locations(tree), file, "exec"), module.__dict__)


class _Watch(ast.NodeTransformer):
    """Puts a watch about each largest pure expression that reads a number."""

    def __init__(self, homes: dict[str, tuple[str, str]]) -> None:
        self.homes = homes

    def visit(self, node: ast.AST) -> Any:
        """Wrap the node, or look inside; functions within are walked by themselves, annotations are not looked at."""
        if isinstance(node, (ast.FunctionDef, ast.AnnAssign)) and not (isinstance(node, ast.AnnAssign) and node.value):
            return node
        if isinstance(node, ast.AnnAssign):
            node.value = self.visit(node.value)  # type: ignore[arg-type]
            return node
        if isinstance(node, ast.expr) and isinstance(getattr(node, "ctx", ast.Load()), ast.Load) and pure(node):
            names = sorted({x.id for x in ast.walk(node) if isinstance(x, ast.Name) and x.id in self.homes})
            if not names:
                return node
            told = ast.parse(f"_watched({[self.homes[n] for n in names]!r}, [{', '.join(names)}], lambda {', '.join(names)}: 0)", mode="eval").body
            told.args[2].body = node  # type: ignore[attr-defined]
            return ast.copy_location(told, node)
        return self.generic_visit(node)


# ---------------------------------------------------------------------------------------------------- the logs


@dataclasses.dataclass(frozen=True)
class Asked:
    """One document to make: of which logs, by which task."""

    name: str
    task: str
    logs: Any
    options: dict[str, Any]


def house() -> SimpleNamespace:
    """The functions that make documents, as the loaded modules have them."""
    return SimpleNamespace(
        assessment=importlib.import_module("flicker.evidence.assessment"),
        compare=importlib.import_module("flicker.evidence.compare.comparison").compare,
        over_visits=importlib.import_module("flicker.evidence.visits.over_visits").over_visits,
        plan_soak=importlib.import_module("flicker.evidence.soaking.plan").plan_soak,
        watcher=importlib.import_module("flicker.evidence.watch.watcher").Watcher,
    )


def watched(table: dict[str, Any], watcher: Any) -> list[Any]:
    """What a watch of a log says, five rows at a time."""
    when = (table["time"] - table["time"][0]) / np.timedelta64(1, "s")
    volts = {key.removesuffix("_V"): value for key, value in table.items() if key != "time"}
    watch = watcher(tuple(volts), cadence_s=float(np.median(np.diff(when))), limits=Limits())
    out = []
    for i in range(0, when.size, 5):
        j = min(i + 5, when.size)
        out += [event.to_dict() for event in watch.feed(Fresh(0, when[i:j], tuple(v[i:j] for v in volts.values()), i == 0))]
    return out


def document(asked: Asked, by: SimpleNamespace) -> Any:
    """The document of one question, or what it was refused with."""
    try:
        if asked.task == "assess":
            return by.assessment.assess(asked.logs, **asked.options).to_dict()
        if asked.task == "compare":
            return by.compare(*asked.logs, **asked.options).to_dict()
        if asked.task == "visits":
            return by.over_visits(asked.logs, **asked.options).to_dict()
        if asked.task == "soak":
            return by.plan_soak(logs=asked.logs, **asked.options).to_dict()
        return [watched(table, by.watcher) for table in asked.logs]
    except ValueError as error:
        return {"answer": f"refused: {type(error).__name__}", "reads": str(error)}


def stories(kind: str, seed: int) -> Iterator[Asked]:
    """The questions of one story of `fresh_benches`."""
    for place, step in enumerate(fresh_benches.story(kind, seed).steps):
        options = dict(step.options)
        reading = options.pop("reading", {})

        def read(tables: Any, reading: dict[str, Any] = reading) -> list[Any]:
            return [read_log(table, **reading) for table in tables]

        logs: Any = step.logs
        try:
            if step.task in ("assess", "soak"):
                logs = read(step.logs)
            elif step.task == "compare":
                logs = [read(side) for side in step.logs]
            elif step.task == "visits":
                logs = [(dt.date.fromisoformat(str(v[0]["time"][0])[:10]), read(v)) for v in step.logs]
        except ValueError:  # the reader refuses: no number of these rooms has a part in it
            continue
        yield Asked(f"{step.task} {kind} {seed} {place}", step.task, logs, options)


def plain_logs(seed: int) -> Iterator[tuple[str, Callable[[], Any]]]:
    """Logs of the standing benches, one a kind: the verdict study, dangers, sound ones, leads, slow loggers."""
    for kind in study_verdict.FIRST:
        yield kind, lambda kind=kind: list(simulate_log(kind, seed=seed).logs)
    for kind in second_bench.KINDS:
        yield kind, lambda kind=kind: [second_bench.make(kind, seed)]
    for kind in danger_bench.SOUND:
        yield f"sound {kind}", lambda kind=kind: danger_bench.sound_log(kind, seed).logs()
    for form in danger_bench.FORMS:
        yield f"danger {form}", lambda form=form: danger_bench.draw_danger(form, seed).logs()
    for bench, kind, number in lead_bench.jobs(("faults", "second", "simulated", "more", "rare"), seed, 1):
        yield f"{bench} {kind}", lambda bench=bench, kind=kind, number=number: [lead_bench.case(bench, kind, number).log]
    for kind in slow_logs.KINDS:
        yield f"slow {kind}", lambda kind=kind: [slow_logs.slow_log(kind, seed)]
    for kind in ("taps", "mains-common", "timer-nights-noisy", "relay", "bridged", "capacitor", "servo", "drifting-power-ups",
                 "degrading-visits", "trimmed", "range-change", "stuck-high", "settled-offset"):  # fmt: skip
        yield kind, lambda kind=kind: list(simulate_log(kind, seed=seed).logs)


def demo() -> Iterator[Asked]:
    """The cases of the demo data: marks, columns beside, stages, visits, a control."""
    place = ROOT / "demo_data"
    case = read_case(place / "a45_case.toml")
    parts = [[read_log(place / f"a45_{name}_{n}.csv") for n in (1, 2, 3)] for name in ("1_as_received", "3_part_replaced")]
    yield Asked("compare demo a45", "compare", parts, {"case": case})
    visits = [read_log(place / f"m22_visit_{n}.csv") for n in (1, 2, 3)]
    days = [dt.date(2031, 3, 4), dt.date(2031, 6, 10), dt.date(2031, 9, 16)]
    yield Asked("visits demo m22", "visits", [(day, [log]) for day, log in zip(days, visits, strict=True)], {})
    yield Asked("assess demo m22", "assess", [visits[2]], {"control": [read_log(place / "m22_shorted.csv")]})
    for path in sorted(place.glob("*.csv"))[::4]:
        if ".marks." not in path.name:
            try:
                yield Asked(f"assess demo {path.name}", "assess", [read_log(path)], {})
            except ValueError:
                continue


def drawn(seed: int, every: bool) -> list[Asked]:
    """All questions, in an order that mixes the benches; ``every``: all stories, else a third of them."""
    out = list(demo())
    for name, make in plain_logs(seed):
        out.append(Asked(f"assess {name} {seed}", "assess", make(), {}))
    for place, kind in enumerate(fresh_benches.KINDS):
        if every or place % 3 == seed % 3 or fresh_benches.KINDS[kind].__module__ == "fresh_odd_claims":
            out += stories(kind, seed)
    for place, (kind, before, after, _) in enumerate(study_aspects.MENDED):
        if every or place % 2:
            used = {"hours": 2.0, "rate_hz": 0.5, "unit": seed}
            sides = [list(simulate_log(kind, seed=2 * seed + k, **{**used, **o}).logs) for k, o in enumerate((before, after))]
            out.append(Asked(f"compare {kind} {seed}", "compare", sides, {}))
    order = np.random.default_rng(seed).permutation(len(out))
    return [out[k] for k in order]


# -------------------------------------------------------------------------------------------------- documents


def leaves(value: Any, at: str = "") -> Iterator[tuple[str, Any]]:
    """Each value with its place."""
    if isinstance(value, dict):
        for key, item in value.items():
            if key != "limits":
                yield from leaves(item, f"{at}.{key}")
    elif isinstance(value, (list, tuple)):
        for number, item in enumerate(value):
            yield from leaves(item, f"{at}[{number}]")
    else:
        yield at, value


def sorts(made: Any) -> dict[str, dict[str, str]]:
    """A document's values by their sort: answers, figures, sentences."""
    out: dict[str, dict[str, str]] = {"answers": {}, "figures": {}, "sentences": {}}
    for at, value in leaves(made):
        key = at.rsplit(".", 1)[-1].split("[")[0]
        sort = "sentences" if key in SENTENCES or key.endswith("reads") else "answers" if key in ANSWERS else "figures"
        out[sort][at] = repr(value)
    return out


def differs(old: dict[str, dict[str, str]], new: dict[str, dict[str, str]]) -> tuple[str, str]:
    """The gravest sort in which two documents differ, and one place; empty where they are the same."""
    for sort in ("answers", "figures", "sentences"):
        for at in {**old[sort], **new[sort]}:
            if old[sort].get(at) != new[sort].get(at):
                return sort, f"{at}: {old[sort].get(at)} -> {new[sort].get(at)}"[:160]
    return "", ""


# -------------------------------------------------------------------------------------------------- the trials


class Kept:
    """Stands for `Traced` in a child: what the traces of these logs were, in the order in which they were asked for."""

    results: ClassVar[list[Any]] = []

    def __init__(self, *_: Any) -> None:
        self.traces, self.relays, self.beside, self._control = Kept.results.pop(0)

    def add(self, *_: Any) -> None:
        """Nothing: the log was taken to pieces before."""

    begins = add

    def control(self, *_: Any, **__: Any) -> Any:
        """The traces of the control."""
        return self._control


@dataclasses.dataclass
class Base:
    """A document as the product makes it: its values, the traces on the way, numbers that matter to them, after them and to a yes or no, seconds."""

    values: dict[str, dict[str, str]]
    traced: list[Any]
    early: set[Any]
    late: set[Any]
    decided: set[Any]
    seconds: float


def base_of(asked: Asked, by: SimpleNamespace) -> Base:
    """Make a document, keep its traces, and note which numbers could have changed it."""
    began = time.process_time()
    traced: list[Any] = []
    CHANGES.update(early=set(), late=set(), decided=set())
    original = by.assessment.Traced

    class Noted(original):  # type: ignore[misc,valid-type]
        """Keeps what it made, and tells when it is at work."""

        def __init__(self, *given: Any) -> None:
            super().__init__(*given)
            self.of_control: Any = None
            traced.append(self)

        def add(self, *given: Any) -> None:
            NOW[0] = "early"
            super().add(*given)
            NOW[0] = "late"

        def control(self, *given: Any, **named: Any) -> Any:
            NOW[0] = "early"
            self.of_control = super().control(*given, **named)
            NOW[0] = "late"
            return self.of_control

    by.assessment.Traced = Noted
    try:
        made = document(asked, by)
    finally:
        by.assessment.Traced = original
        NOW[0] = "late"
    kept = [(item.traces, item.relays, item.beside, item.of_control) for item in traced]
    return Base(sorts(made), kept, CHANGES["early"], CHANGES["late"], CHANGES["decided"], time.process_time() - began)


def unloaded(rooms: Sequence[str]) -> None:
    """Let the modules of some rooms be loaded anew."""
    for name in list(sys.modules):
        if name.startswith("flicker.") and name.split(".")[1] in rooms:
            del sys.modules[name]


OLD_CODE = "flicker.evidence.questions.auxiliary_channels"  # makes what a child takes over from the first pass


def trial(number: Number, factor: float, todo: Sequence[tuple[Asked, Base]]) -> dict[str, Any]:
    """What a number moved by a factor changes; to be called in a child."""
    tried = 0
    counts = {"answers": 0, "figures": 0, "sentences": 0}
    places: dict[str, list[str]] = {"answers": [], "figures": [], "sentences": []}
    keys = {(*home, factor) for home in number.makes}
    signals = number.module.startswith("flicker.signals") or number.module == OLD_CODE
    sys.meta_path.insert(0, Changed(number, factor))
    unloaded((*ABOVE, "signals") if signals or any(keys & base.early for _, base in todo) else ABOVE)
    by = house()
    real = by.assessment.Traced
    for asked, base in todo:
        again = signals or bool(keys & base.early)
        Kept.results = list(base.traced)
        by.assessment.Traced = real if again else Kept
        try:
            sort, place = differs(base.values, sorts(document(asked, by)))
        except Exception as problem:  # a number so moved may break the program: it acts
            sort, place = "answers", f"{type(problem).__name__}: {problem}"[:160]
        tried += 1
        if sort:
            counts[sort] += 1
            if len(places[sort]) < 2:
                places[sort].append(f"{asked.name}: {place}")
        if counts["answers"] or counts["figures"]:
            break
    return {"tried": tried, "counts": counts, "places": places}


def nearest(keys: set[Any], of: Sequence[tuple[Asked, Base]], most: int, seconds: float) -> list[tuple[Asked, Base]]:
    """The documents that a number is nearest to changing: where a yes or no turns; cleared ones and others in turn; the cheapest first."""
    ranked = []
    seen: dict[tuple[bool, bool], int] = defaultdict(int)
    for pair in sorted(of, key=lambda pair: pair[1].seconds):
        sort = (not keys & pair[1].decided, "'within limits'" in pair[1].values["answers"].values())
        seen[sort] += 1
        ranked.append((sort[0], seen[sort], pair[1].seconds, pair))
    out: list[tuple[Asked, Base]] = []
    for _, _, cost, pair in sorted(ranked, key=lambda row: row[:3])[:most]:
        seconds -= cost
        if out and seconds < 0.0:
            break
        out.append(pair)
    return out


NOTHING = {"tried": 0, "counts": {"answers": 0, "figures": 0, "sentences": 0}, "places": {}}


def in_child(work: Callable[[], dict[str, Any]]) -> dict[str, Any]:
    """Do something in a child that starts from what is loaded."""
    reads, writes = os.pipe()
    child = os.fork()
    if not child:
        code = 1
        try:
            os.close(reads)
            with os.fdopen(writes, "w") as out:
                json.dump(work(), out)
            code = 0
        finally:
            os._exit(code)
    os.close(writes)
    with os.fdopen(reads) as into:
        text = into.read()
    os.waitpid(child, 0)
    return dict(json.loads(text)) if text else {"failed": True}


def acting_in(files: Sequence[str], factor: float) -> set[str]:
    """Numbers of which recorded rows say that they change an answer or a figure."""
    rows = [json.loads(line) for file in files if Path(file).is_file() for line in Path(file).read_text(encoding="utf-8").splitlines() if line.endswith("}")]
    return {row["name"] for row in rows if row.get("factor") == factor and (row["counts"]["answers"] or row["counts"]["figures"])}


# --------------------------------------------------------------------------------------------------- the table


def table(files: Sequence[str]) -> str:
    """Rows of results/constants.md from recorded rows; what several processes tried counts together."""
    watched: dict[str, dict[str, Any]] = {}
    trials: dict[tuple[str, float], list[dict[str, Any]]] = defaultdict(list)
    for file in files:
        for line in Path(file).read_text(encoding="utf-8").splitlines():
            row = json.loads(line)
            if "flags" in row:
                before = watched.get(row["flags"], {"of": [0, 0]})
                watched[row["flags"]] = {**row, "of": [one + two for one, two in zip(before["of"], row["of"], strict=True)]}
            elif row["tried"]:
                trials[row["name"], row["factor"]].append(row)

    def cell(name: str, factor: float, matters: bool) -> str:
        rows = trials[name, factor]
        for sort, called in (("answers", "answer"), ("figures", "figure"), ("sentences", "words")):
            if any(row["counts"][sort] for row in rows):
                return called
        return f"nothing in {sum(row['tried'] for row in rows)}" if rows else "not made again" if matters else "-"

    out = ["| number | is | may matter in, down | up | a third down | a third up |", "|---|---|---|---|---|---|"]
    for name, row in sorted(watched.items()):
        down, up = ("default" if row["silently"] and not count else str(count) for count in row["of"])
        cells = [cell(name, factor, told != "0") for factor, told in ((2 / 3, down), (4 / 3, up))]
        out.append(f"| {name} | {row['value'][:30]} | {down} | {up} | {' | '.join(cells)} |")
    return "\n".join(out)


def main() -> None:
    """Try the numbers, a row as soon as it is known."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=71)
    parser.add_argument("--all", action="store_true", help="all stories, not a third of them")
    parser.add_argument("--only", nargs="*", default=[], help="numbers or modules whose name holds one of these")
    parser.add_argument("--skip", nargs="*", default=[], help="numbers or modules that are not tried")
    parser.add_argument("--list", action="store_true", help="list the numbers, nothing else")
    parser.add_argument("--first", type=int, default=10_000, help="no more documents than these")
    parser.add_argument("--after", type=int, default=0, help="leave so many of them out")
    parser.add_argument("--step", type=int, default=1, help="of the others only every so many-th: so two processes share them")
    parser.add_argument("--beside", nargs="*", default=[], help="rows of another process: what acts there is not tried here")
    parser.add_argument("--watched", action="store_true", help="only tell for how many documents a number could matter")
    parser.add_argument("--most", type=int, default=8, help="no more trials of a number than these")
    parser.add_argument("--seconds", type=float, default=10.0, help="no longer than this at one trial")
    parser.add_argument("--dearest", type=float, default=8.0, help="seconds of a document that is left out")
    parser.add_argument("--out", default="", help="file of rows, as JSON")
    parser.add_argument("--table", nargs="*", default=[])
    args = parser.parse_args()
    if args.table:
        print(table(args.table))
        return
    found = [x for x in numbers() if not args.only or any(part in x.called for part in args.only)]
    found = [x for x in found if not any(part in x.called for part in args.skip)]
    found.sort(key=lambda x: x.called.split(".")[0])  # the cheaper ones first: evidence
    if args.list:
        print("\n".join(f"{x.called} = {x.text} ({len(x.makes)}{' silently' if x.silently else ''})" for x in found))
        return
    began = time.time()
    unloaded((*ABOVE, "signals"))
    watching = Watching()
    sys.meta_path.insert(0, watching)
    by = house()
    pairs = [(asked, base_of(asked, by)) for asked in drawn(args.seed, args.all)[args.after : args.first : args.step]]
    sys.meta_path.remove(watching)
    kept = [pair for pair in pairs if pair[1].seconds < args.dearest]
    print(f"{len(found)} numbers; {len(kept)} documents ({len(pairs) - len(kept)} too dear), {sum(b.seconds for _, b in kept):.0f} s, "
          f"drawn in {time.time() - began:.0f} s", file=sys.stderr, flush=True)  # fmt: skip
    sink = open(args.out, "a") if args.out else sys.stdout  # noqa: SIM115
    for number in found:
        flags = [sum(bool({(*home, f) for home in number.makes} & (b.early | b.late)) for _, b in kept) for f in (2 / 3, 4 / 3)]
        print(json.dumps({"flags": number.called, "value": number.text[:60], "silently": number.silently, "of": flags}), file=sink, flush=True)
    found = found[args.after * len(found) // args.step :] + found[: args.after * len(found) // args.step]
    acting: set[str] = set()
    rounds = [] if args.watched else [(2 / 3, False), (4 / 3, False), (4 / 3, True)]  # a third up where a third down acts comes last
    for factor, acts in rounds:
        for number in found:
            acting |= acting_in(args.beside, 2 / 3)
            if ((number.called in acting) != acts and factor > 1.0) or number.called in acting_in([*args.beside, args.out], factor):
                continue
            keys = {(*home, factor) for home in number.makes}
            todo = [(a, b) for a, b in kept if number.silently or keys & (b.early | b.late)]
            start = time.time()
            row = {"name": number.called, "value": number.text[:60], "factor": factor, "used": len(todo)}
            todo = nearest(keys, todo, args.most, args.seconds)
            row |= in_child(lambda n=number, f=factor, t=todo: trial(n, f, t)) if todo else NOTHING
            print(json.dumps({**row, "s": round(time.time() - start, 1)}), file=sink, flush=True)
            if factor < 1.0 and (row["counts"]["answers"] or row["counts"]["figures"]):
                acting.add(number.called)
    print(f"{time.time() - began:.0f} s", file=sys.stderr)


if __name__ == "__main__":
    main()
