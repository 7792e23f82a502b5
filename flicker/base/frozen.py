"""Frozen dataclasses that are quick to make: a log is judged by some two hundred classes, each made at every start.

`dataclasses.dataclass` compiles six methods for each class. Here one is compiled, ``__init__``; the others are shared by all
classes and read the fields. What is made is a dataclass as ever: `fields`, `replace`, `asdict` and pickling work.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from operator import attrgetter
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dataclasses import dataclass as dataclass
else:

    def dataclass(cls: type | None = None, /, *, frozen: bool = False, repr: bool = True, **options: Any) -> Any:
        """Make a dataclass, of the options of `dataclasses.dataclass` that the house uses."""
        if cls is None:
            return lambda cls: dataclass(cls, frozen=frozen, repr=repr, **options)
        if not frozen:
            return dataclasses.dataclass(cls, repr=repr, **options)
        own = set(cls.__dict__)
        made = dataclasses.dataclass(cls, init=False, repr=False, eq=False, **options)
        made.__init__ = _init(made)
        compared = [item.name for item in dataclasses.fields(made) if item.compare]
        made._compared = staticmethod(attrgetter(*compared) if compared else type)
        for name, method in _SHARED.items():
            if name not in own and (repr or name != "__repr__"):
                setattr(made, name, method)
        return made


_MISSING = dataclasses.MISSING


def _init(cls: Any) -> Callable[..., None]:
    """Compile ``__init__`` for the fields of a class."""
    names: dict[str, Any] = {"_set": object.__setattr__, "_new": _MISSING}
    plain: list[str] = []
    named: list[str] = []
    body: list[str] = []
    for item in dataclasses.fields(cls):
        told, value = item.name, item.name
        if item.default is not _MISSING:
            names[f"_of_{item.name}"], told = item.default, f"{item.name}=_of_{item.name}"
        elif item.default_factory is not _MISSING:
            names[f"_of_{item.name}"], told = item.default_factory, f"{item.name}=_new"
            value = f"_of_{item.name}() if {item.name} is _new else {item.name}"
        (named if item.kw_only else plain).append(told)
        body.append(f"    _set(self, {item.name!r}, {value})")
    if hasattr(cls, "__post_init__"):
        body.append("    self.__post_init__()")
    head = ", ".join(["self", *plain, *(["*", *named] if named else [])])
    exec(f"def __init__({head}):\n" + "\n".join(body or ["    pass"]), names)
    init: Callable[..., None] = names["__init__"]
    init.__qualname__ = f"{cls.__qualname__}.__init__"
    init.__annotations__ = {item.name: item.type for item in dataclasses.fields(cls)} | {"return": None}
    return init


def _eq(self: Any, other: Any) -> Any:
    return self._compared(self) == self._compared(other) if other.__class__ is self.__class__ else NotImplemented


def _hash(self: Any) -> int:
    return hash(self._compared(self))


def _repr(self: Any) -> str:
    told = (f"{item.name}={getattr(self, item.name)!r}" for item in dataclasses.fields(self) if item.repr)
    return f"{self.__class__.__qualname__}({', '.join(told)})"


def _refuse(self: Any, name: str, value: object = None) -> None:
    raise dataclasses.FrozenInstanceError(f"{type(self).__name__} is frozen: {name!r} cannot be changed")


def _getstate(self: Any) -> list[Any]:
    return [getattr(self, item.name) for item in dataclasses.fields(self)]


def _setstate(self: Any, state: list[Any]) -> None:
    for item, value in zip(dataclasses.fields(self), state, strict=True):
        object.__setattr__(self, item.name, value)


_SHARED = {
    "__eq__": _eq,
    "__hash__": _hash,
    "__repr__": _repr,
    "__setattr__": _refuse,
    "__delattr__": _refuse,
    "__getstate__": _getstate,
    "__setstate__": _setstate,
}
