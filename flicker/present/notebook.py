"""Runs one of the notebooks on the user's logs: a name and files in, an executed notebook out, whole or not at all."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from flicker import _version
from flicker.base.progress import tell
from flicker.logs.model import LogError
from flicker.logs.writing import whole_file

THEN = "then"
CELL_TIMEOUT_S = 1800
NUMBER = re.compile(r"^\d\d-")  # with which the files are put in order
EXTRA = ("nbformat", "nbclient", "jupyter_client", "ipykernel")
# What a stored notebook names, and where it stands inside the installed package.
INSTALLED = {"../demo_data": "_demo_data", "../tests/studies/results": "_studies"}


def folder() -> Path:
    """Where the notebooks stand: inside the installed package, or beside it in a clone."""
    package = Path(_version.__file__).resolve().parent
    inside = package / "_notebooks"
    return inside if inside.is_dir() else package.parent / "notebooks"


def _stored(path: str) -> Path:
    """Where a path written in a stored notebook leads."""
    beside = folder()
    if beside.name == "_notebooks":
        for outside, inside in INSTALLED.items():
            if path == outside or path.startswith(f"{outside}/"):
                return beside.parent / inside / path[len(outside) + 1 :]
    return (beside / path).resolve()


def notebooks() -> dict[str, Path]:
    """Names of the notebooks, in reading order, with their files; a name is the file's without its number."""
    found = sorted(folder().glob("[0-9]*.ipynb"))
    return {path.stem.split("-", 1)[1]: path for path in found}


def run_notebook(
    name: str,
    logs: Sequence[str | os.PathLike[str]],
    out: str | os.PathLike[str] | None = None,
    *,
    parameters: Mapping[str, Any] | None = None,
    case: str | os.PathLike[str] | None = None,
) -> Path:
    """Run a notebook on logs and write it with its results.

    Parameters
    ----------
    name : str
        One of `notebooks`.
    logs : sequence of path
        The log files in time order. Where the notebook compares, the word 'then' stands between the files before and
        the files after. Without any the notebook's own demo logs are used, where they stand beside it.
    out : path, optional
        Where the notebook shall stand; ``NAME.ipynb`` in the current folder when left out.
    parameters : mapping, optional
        Other values of the notebook's first cell.
    case : path, optional
        A case file: what the columns are, and its own logs where none are given (where the notebook compares, those of
        the first and of the last stage).

    Returns
    -------
    Path

    Raises
    ------
    LogError
        With one sentence, if the name, a file or a parameter is wrong, or a cell fails; nothing is written then.
    """
    known = notebooks()
    name = NUMBER.sub("", name).removesuffix(".ipynb")
    if name not in known:
        raise LogError(f"There is no notebook {name!r}. Known: {', '.join(known)}.")
    target = Path(out) if out is not None else Path(f"{name}.ipynb")
    _check_extra()
    import nbformat

    book = nbformat.read(known[name], as_version=4)  # type: ignore[no-untyped-call]
    given = [str(log) for log in logs]
    told: dict[str, Any] = {}
    if case is not None:
        given, told = _of_case(name, book, given, case, target)
    values = {**log_parameters(name, book, given, target), **told, **(parameters or {})}
    inject(name, book, values)
    execute(name, book, target.resolve().parent)
    with whole_file(target, what="notebook") as draft:
        nbformat.write(book, draft)  # type: ignore[no-untyped-call]
    return target


def _check_extra() -> None:
    """Say in one sentence what is missing, before anything runs."""
    import importlib.util

    lacking = [part for part in EXTRA if importlib.util.find_spec(part) is None]
    if lacking:
        raise LogError(f"Notebooks need more packages ({', '.join(lacking)}): in the clone, pip install '.[notebooks]'.")
    from flicker.present import schema_checker  # noqa: F401, before nbformat


def _of_case(
    name: str, book: Any, logs: list[str], case: str | os.PathLike[str], target: Path
) -> tuple[list[str], dict[str, Any]]:
    """Logs of a case where none are given, and the case as a parameter."""
    from flicker.case.case_file import read_case

    read = read_case(Path(case))
    if "CASE" not in defaults(book):
        raise LogError(f"The notebook {name!r} makes no use of a case; leave out --case.")
    if not logs and {"BEFORE", "AFTER"} <= defaults(book).keys():
        if len(read.stages) < 2:
            raise LogError(f"{case}: the case has fewer than two stages; the notebook {name!r} compares two.")
        first, last = ([log.path for log in read.logs if log.stage == read.stages[k]] for k in (0, -1))
        logs = [*first, THEN, *last]
    elif not logs:
        logs = [log.path for log in read.logs]
        if not logs:
            raise LogError(f"{case}: the case lists no log; name one, or add [[logs]] to the case.")
    return logs, {"CASE": os.path.relpath(Path(case).resolve(), target.resolve().parent)}


def log_parameters(name: str, book: Any, logs: list[str], target: Path) -> dict[str, Any]:
    """Parameters that hand the logs given, or those stored beside the notebook, to its first cell."""
    files = [log for log in logs if log != THEN]
    for log in files:
        if not Path(log).is_file():
            raise LogError(f"{log}: there is no such file.")
    # Relative to the new notebook, so that it can be run again and moved together with the logs.
    home = target.resolve().parent
    stored = stored_beside(book, home)
    if not files:
        missing = [path for value in stored.values() for path in _listed(value) if not (home / path).exists()]
        if missing or logs:
            raise LogError(f"No log was given; name at least one for the notebook {name!r}.")
        return stored
    near = [os.path.relpath(Path(log).resolve(), home) if log != THEN else THEN for log in logs]
    if {"BEFORE", "AFTER"} <= defaults(book).keys():
        if near.count(THEN) != 1 or near[0] == THEN or near[-1] == THEN:
            raise LogError(
                f"The notebook {name!r} compares: put the word '{THEN}' between the logs before and the logs after."
            )
        middle = near.index(THEN)
        return {"BEFORE": near[:middle], "AFTER": near[middle + 1 :]}
    if THEN in near:
        raise LogError(f"The notebook {name!r} does not compare; leave out the word '{THEN}'.")
    beside = {key: value for key, value in stored.items() if isinstance(value, str)}
    return {**beside, "LOGS": near}


def stored_beside(book: Any, home: Path) -> dict[str, Any]:
    """Stored paths of the notebook (they begin with '../'), as seen from where the new one will stand."""

    def moved(path: str) -> str:
        return os.path.relpath(_stored(path), home)

    out: dict[str, Any] = {}
    for key, value in defaults(book).items():
        if _listed(value) and all(str(path).startswith("../") for path in _listed(value)):
            out[key] = moved(value) if isinstance(value, str) else [moved(path) for path in value]
    return out


def _listed(value: Any) -> list[Any]:
    return [value] if isinstance(value, str) else list(value) if isinstance(value, list) else []


def _parameter_cell(book: Any) -> int:
    return next(k for k, cell in enumerate(book.cells) if "parameters" in cell.metadata.get("tags", []))


def defaults(book: Any) -> dict[str, Any]:
    """Names and stored values of the first cell."""
    import ast

    tree = ast.parse(book.cells[_parameter_cell(book)].source)
    pairs = [(node.targets[0], node.value) for node in tree.body if isinstance(node, ast.Assign)]
    return {target.id: ast.literal_eval(value) for target, value in pairs if isinstance(target, ast.Name)}


def inject(name: str, book: Any, values: Mapping[str, Any]) -> None:
    """Put a cell with the values behind the one tagged 'parameters' (the convention of papermill)."""
    import nbformat

    known = defaults(book)
    for key in values:
        if key not in known:
            raise LogError(f"The notebook {name!r} has no parameter {key!r}. Known: {', '.join(sorted(known))}.")
    source = "\n".join(f"{key} = {value!r}" for key, value in values.items())
    if not values:
        return
    cell = nbformat.v4.new_code_cell(  # type: ignore[no-untyped-call]
        source, metadata={"tags": ["injected-parameters"]}, id="injected"
    )
    book.cells.insert(_parameter_cell(book) + 1, cell)


def execute(name: str, book: Any, where: Path) -> None:
    """Run all cells in a kernel of this Python, from the folder given; a cell that fails is one sentence."""
    from jupyter_client.kernelspec import KernelSpec, KernelSpecManager
    from jupyter_client.manager import AsyncKernelManager
    from nbclient import NotebookClient
    from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError

    if not where.is_dir():
        raise LogError(f"{where.name}: there is no such folder for the notebook.")

    paths = [str(Path(_version.__file__).resolve().parents[1]), os.environ.get("PYTHONPATH", "")]

    class ThisPython(KernelSpecManager):
        """The interpreter that runs now and the flicker that it found, whatever kernels are installed."""

        def get_kernel_spec(self, kernel_name: str) -> Any:
            return KernelSpec(
                argv=[sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}", "--log-level=ERROR"],
                display_name="Python 3",
                language="python",
                env={"PYTHONPATH": os.pathsep.join(part for part in paths if part)},
            )

    manager = AsyncKernelManager(kernel_spec_manager=ThisPython(), kernel_name="python3")
    client = NotebookClient(
        book, km=manager, timeout=CELL_TIMEOUT_S, record_timing=False, resources={"metadata": {"path": str(where)}}
    )
    cells = len(book.cells)
    client.on_cell_complete = lambda cell, cell_index: tell(cell_index + 1, cells)
    try:
        client.execute(cleanup_kc=True)  # else the kernel lives as long as this process
    except CellExecutionError as problem:
        number = next(
            (
                k
                for k, cell in enumerate(book.cells, 1)
                if any(o.output_type == "error" for o in cell.get("outputs", []))
            ),
            0,
        )
        reason = " ".join(str(problem.evalue).split())
        kind = "" if problem.ename in ("LogError", "Question") else f" ({problem.ename})."
        raise LogError(f"The notebook {name!r} stopped in cell {number}: {reason}{kind}") from None
    except (CellTimeoutError, DeadKernelError) as problem:
        raise LogError(f"The notebook {name!r} stopped: {' '.join(str(problem).split())[:200]}") from None
    finally:
        manager.context.destroy(linger=0)  # its sockets would stay open until they are collected
    book.metadata.pop("signature", None)
