"""The list of questions: each is entered by a decorator where it is answered, and known everywhere else from here.

Pages take their labels and order from it, the schema its list of names, the README its table, the tests their list. Only
the order of the verdicts (`flicker.evidence.verdict`) and the families of the correction (`flicker.evidence.findings`)
name questions elsewhere, where a reviewer must see them.
"""

from __future__ import annotations

import functools
import importlib
import pkgutil
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any, NamedTuple, TypeVar

from flicker.evidence.findings import FAMILIES, GROWTH

Answers = TypeVar("Answers", bound=Callable[..., Any])

_ENTERED: dict[str, Question] = {}


class Question(NamedTuple):
    """A question put to a channel: its name in documents, how a page asks it, what it means, and who answers.

    ``place`` orders questions on pages; ``chart`` names the picture in `flicker.present.charts` that shows the answer;
    ``answers`` is the function that makes the `Finding`.
    """

    name: str
    asks: str
    meaning: str
    place: int
    chart: str | None
    answers: Callable[..., Any]

    @property
    def family(self) -> frozenset[str] | None:
        """Questions that it is corrected with, if any."""
        return next((family for family in (*FAMILIES, GROWTH) if self.name in family), None)


def question(
    name: str, *, asks: str, place: int, meaning: str = "", chart: str | None = None
) -> Callable[[Answers], Answers]:
    """Enter a question; the function below the decorator answers it.

    Parameters
    ----------
    name : str
        Its name in documents, as ``Finding.question``.
    asks : str
        How a page asks it.
    place : int
        Where it stands among the others.
    meaning : str, optional
        What the README says of it, where that is more than ``asks``.
    chart : str, optional
        Name of the picture that shows the answer.

    Raises
    ------
    ValueError
        If the name or the place is taken.
    """

    def enter(answers: Answers) -> Answers:
        taken = [item.name for item in _ENTERED.values() if item.name == name or item.place == place]
        if taken:
            raise ValueError(f"name and place must be free, got {name!r} at {place}; {taken[0]!r} stands there")
        _ENTERED[name] = Question(
            name=name, asks=asks, meaning=meaning or asks, place=place, chart=chart, answers=answers
        )
        return answers

    return enter


@functools.cache
def questions() -> Mapping[str, Question]:
    """All questions by name, in the order of the pages; every module of this folder is asked for its own."""
    package = importlib.import_module(__name__.rpartition(".")[0])
    for module in pkgutil.iter_modules(package.__path__):
        importlib.import_module(f"{package.__name__}.{module.name}")
    return MappingProxyType({item.name: item for item in sorted(_ENTERED.values(), key=lambda item: item.place)})
