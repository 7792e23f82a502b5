"""The quick frozen dataclass does what the standard library's does; outside source: `dataclasses` itself."""

import copy
import dataclasses
import inspect
import pickle

import pytest

from flicker.base.frozen import dataclass
from flicker.logs.model import Gap


def _pair(namespace, bases=(), **options):
    made = []
    for maker in (dataclasses.dataclass, dataclass):
        cls = type("Thing", tuple(base[len(made)] for base in bases), dict(namespace, __doc__="A thing."))
        made.append(maker(frozen=True, slots=True, **options)(cls))
    return made


PLAIN = {"__annotations__": {"a": int, "b": float, "c": list}, "b": 2.0, "c": dataclasses.field(default_factory=list, compare=False)}


@pytest.mark.parametrize("options", [{}, {"kw_only": True}, {"repr": False}])
def test_as_the_standard_library_makes_it(options):
    theirs, ours = _pair(PLAIN, **options)
    one, other = theirs(a=1), ours(a=1)
    assert ours(a=1, c=[3]) == other != ours(a=2) and hash(ours(a=1)) == hash(other) == hash(one) and other != one
    assert dataclasses.replace(other, b=5.0) == ours(a=1, b=5.0) and ours(a=1).c is not other.c
    assert dataclasses.asdict(other) == dataclasses.asdict(one) and copy.deepcopy(other) == other
    told = [list(inspect.signature(made).parameters.values()) for made in (theirs, ours)]
    assert [(p.name, p.kind, p.annotation) for p in told[0]] == [(p.name, p.kind, p.annotation) for p in told[1]]
    assert (repr(other) == repr(one)) == ("repr" not in options)
    for way in (lambda: setattr(other, "a", 3), lambda: delattr(other, "a")):
        with pytest.raises(dataclasses.FrozenInstanceError):
            way()


def test_with_a_parent_and_a_second_step():
    seen = []
    child = {"__annotations__": {"d": str}, "d": "x", "__post_init__": lambda self: seen.append(self.d)}
    theirs, ours = _pair(child, [tuple(_pair(PLAIN))])
    assert dataclasses.astuple(ours(1, d="y")) == dataclasses.astuple(theirs(1, d="y")) == (1, 2.0, [], "y")
    assert seen == ["y", "y"] and pickle.loads(pickle.dumps(Gap(1.0, 2.0))) == Gap(1.0, 2.0)
