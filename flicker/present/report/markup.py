"""HTML by construction: text is escaped where it enters, only what `tag` made passes as it is."""

from __future__ import annotations

import html
from collections.abc import Iterable, Mapping, Sequence
from typing import TypeAlias


class Markup(str):
    """HTML that was made here, not text from outside."""

    __slots__ = ()

    def __html__(self) -> str:
        """Tell a template that this needs no escaping."""
        return str(self)


Child: TypeAlias = "str | Markup | Iterable[Child] | None"

VOID = frozenset({"img", "br"})
# Marks of direction: one in a name turns what follows it.
TURNS = dict.fromkeys((*range(0x202A, 0x202F), *range(0x2066, 0x206A)))


def text(child: Child) -> str:
    """HTML of a child: text escaped, markup as it is, sequences one after the other."""
    if child is None:
        return ""
    if isinstance(child, Markup):
        return str(child)
    if isinstance(child, str):
        return html.escape(child, quote=True)
    return "".join(text(item) for item in child)


def tag(name: str, *children: Child, **attributes: str | None) -> Markup:
    """Make an element; a trailing underscore of an attribute is dropped, inner ones become hyphens."""
    said = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{html.escape(value, quote=True)}"'
        for key, value in attributes.items()
        if value is not None
    )
    if name in VOID:
        return Markup(f"<{name}{said}>")
    return Markup(f"<{name}{said}>{''.join(text(child) for child in children)}</{name}>\n")


def table(
    head: Iterable[str],
    rows: Iterable[Iterable[Child]],
    *,
    caption: str | None = None,
    labels: bool = False,
    attributes: Sequence[Mapping[str, str]] = (),
) -> Markup:
    """Make a table whose rows begin with a header cell; on a phone its rows become blocks, with labels if asked.

    ``attributes`` are those of the rows, in order.
    """
    columns = list(head)
    body = []
    for number, row in enumerate(rows):
        first, *rest = row
        names: list[str | None] = [*columns[1:]] if labels else [None] * len(rest)
        cells = [
            item if _is_cell(item) else tag("td", item, data_label=name if item else None)
            for item, name in zip(rest, names, strict=True)
        ]
        own = attributes[number] if number < len(attributes) else {}
        body.append(tag("tr", tag("th", first, scope="row"), cells, **own))
    return tag(
        "table",
        tag("caption", caption) if caption else None,
        tag("thead", tag("tr", [tag("th", item, scope="col") for item in columns])),
        tag("tbody", body),
        class_="stack",
    )


def _is_cell(item: Child) -> bool:
    return isinstance(item, Markup) and item.startswith("<td")


def bullets(items: Iterable[Child]) -> Markup | None:
    """Make a list, or nothing where there is nothing to list."""
    made = [tag("li", item) for item in items]
    return tag("ul", made) if made else None


def facts(pairs: Iterable[tuple[str, Child]], *, class_: str | None = None) -> Markup | None:
    """Make a list of names and what is to be said of each, without those of which nothing is; None where none is left."""
    made = [[tag("dt", name), tag("dd", said)] for name, said in pairs if said]
    return tag("dl", made, class_=class_) if made else None
