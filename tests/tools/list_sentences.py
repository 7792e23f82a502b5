"""Lists every sentence that a person can meet, by module: texts in the code that hold three words or more.

    python tests/tools/list_sentences.py [PART OF A MODULE'S NAME]

Docstrings, patterns and descriptions of document fields are left out; what a sentence takes in stands in braces.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2] / "flicker"
QUIET = {"Doc", "compile", "search", "match", "sub", "findall"}  # calls whose texts nobody reads on screen or paper
PACKAGED = ("schema",)


def text_of(node: ast.expr) -> str | None:
    """The text of a constant or of a formatted one, with the code of its gaps in braces."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        parts = []
        for part in node.values:
            parts.append(str(part.value) if isinstance(part, ast.Constant) else "{" + ast.unparse(part.value) + "}")  # type: ignore[attr-defined]
        return "".join(parts)
    return None


def texts(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Texts of a module that may be shown, with their lines."""
    waiting: list[ast.AST] = [tree]
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.Call) and getattr(node.func, "attr", getattr(node.func, "id", "")) in QUIET:
            continue
        for child in ast.iter_child_nodes(node):
            docstring = isinstance(child, ast.Expr) and isinstance(child.value, ast.Constant)
            if docstring:
                continue
            said = text_of(child) if isinstance(child, ast.expr) else None
            if said is not None:
                yield child.lineno, said
            else:
                waiting.append(child)


def sentences(part: str = "") -> Iterator[tuple[str, int, str]]:
    """Module, line and text of everything with three words or more."""
    for path in sorted(ROOT.rglob("*.py")):
        name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        if part not in name or name.startswith(PACKAGED):
            continue
        for line, said in sorted(texts(ast.parse(path.read_text(encoding="utf-8")))):
            if len([word for word in said.split() if any(letter.isalpha() for letter in word)]) >= 3:
                yield name, line, " ".join(said.split())


if __name__ == "__main__":
    before = ""
    for name, line, said in sentences(sys.argv[1] if len(sys.argv) > 1 else ""):
        if name != before:
            print(f"\n{name}")
        before = name
        print(f"  {line:4d}  {said}")
