"""Writes the notebooks from the texts beside this script; run it after changing one (a test checks that they agree).

    python tests/tools/build_notebooks.py

A text is plain: blocks divided by lines of '%%'; '%% md' begins words, '%% code' code, '%% parameters' the first cell.
"""

from __future__ import annotations

from pathlib import Path

import nbformat

HERE = Path(__file__).resolve().parent
TEXTS = HERE / "notebook_texts"
NOTEBOOKS = HERE.parents[1] / "notebooks"


def build(text: str) -> str:
    """Notebook as JSON, without outputs; the same text always gives the same bytes."""
    cells = []
    for block in text.split("\n%% ")[0:]:
        kind, _, body = block.removeprefix("%% ").partition("\n")
        number = f"cell-{len(cells) + 1:02d}"
        body = body.strip("\n")
        if kind.strip() == "md":
            cells.append(nbformat.v4.new_markdown_cell(body, id=number))
        else:
            tags = {"tags": ["parameters"]} if kind.strip() == "parameters" else {}
            cells.append(nbformat.v4.new_code_cell(body, metadata=tags, id=number))
    kernel = {"display_name": "Python 3", "language": "python", "name": "python3"}
    book = nbformat.v4.new_notebook(cells=cells, metadata={"kernelspec": kernel, "language_info": {"name": "python"}})
    nbformat.validate(book)
    return nbformat.writes(book) + "\n"


def main() -> None:
    """Write all notebooks."""
    NOTEBOOKS.mkdir(exist_ok=True)
    for path in sorted(TEXTS.glob("*.txt")):
        (NOTEBOOKS / f"{path.stem}.ipynb").write_text(build(path.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
