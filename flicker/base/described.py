"""What a key of a document means: an annotation beside the type of a field, from which the JSON Schemas are made."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Doc:
    """Meaning of a field, for ``Annotated[float | None, Doc("Volts ...", ge=0)]``.

    ``ge``, ``gt``, ``le``, ``lt`` bound a number; ``values`` are all that a text may be; ``least`` is how many items a list
    holds at least; ``open`` says that a number may have no bound, which documents write as null with
    ``"<name>_unbounded": true`` beside it (see `flicker.base.result.plain`);
    ``null`` that it is null where it could not be computed.
    """

    text: str
    ge: float | None = None
    gt: float | None = None
    le: float | None = None
    lt: float | None = None
    values: tuple[str, ...] = ()
    least: int | None = None
    open: bool = False
    null: bool = False
