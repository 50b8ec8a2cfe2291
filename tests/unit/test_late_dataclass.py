"""`late_dataclass` against the decorator of the standard library, whose classes it has to equal."""

from __future__ import annotations

import copy
import dataclasses
import pickle
from dataclasses import field

import pytest

from gearqa import late_dataclass

pytestmark = pytest.mark.independent

FORMS = [
    {"frozen": frozen, "eq": eq, "slots": slots}
    for frozen in (True, False)
    for eq in (True, False)
    for slots in (True, False)
]


def made_by(decorator, **form):
    @decorator(**form)
    class Gear:
        """A gear."""

        teeth: int
        module: float = 2.0
        names: list[str] = field(default_factory=list, compare=False)
        hidden: int = field(default=0, repr=False)
        size: float = field(init=False)
        fixed: int = field(init=False, default=7)
        made: list[int] = field(init=False, default_factory=list)

        def __post_init__(self):
            object.__setattr__(self, "size", self.teeth * self.module)

    return Gear


def outcome(run, cls):
    try:
        return run(cls)
    except Exception as error:
        return type(error), str(error).replace("'", "")


@pytest.mark.parametrize("form", FORMS, ids=str)
def test_a_late_class_does_what_one_of_the_standard_library_does(form):
    both = [made_by(decorator, **form) for decorator in (late_dataclass.dataclass, dataclasses.dataclass)]
    for run in (
        lambda c: repr(c(3)),
        lambda c: c(3).names is c(3).names,
        lambda c: (c(3).fixed, c(3).made),
        lambda c: repr(c(3, 1.5, ["a"], hidden=4)),
        lambda c: c(3) == c(3, names=["b"]),
        lambda c: c(3) == c(3, hidden=1),
        lambda c: c(3) == (3,),
        lambda c: c(3) != c(4),
        lambda c: len({c(3), c(3), c(4)}),
        lambda c: c(),
        lambda c: c(1, 2, 3, 4, 5),
        lambda c: c(3, size=1),
        lambda c: setattr(c(3), "teeth", 4),
        lambda c: delattr(c(3), "teeth"),
        lambda c: repr(dataclasses.replace(c(3), teeth=4)),
        lambda c: dataclasses.asdict(c(3)),
        lambda c: repr(copy.copy(c(3, names=["x"]))),
        lambda c: repr(copy.deepcopy(c(3, names=["x"]))),
        lambda c: (c.__match_args__, c.__doc__, c.__qualname__, c.__hash__ is None),
        lambda c: hasattr(c(3), "__dict__"),
    ):
        late, standard = (outcome(run, cls) for cls in both)
        assert late == standard


def test_a_class_of_keywords_only_and_one_with_methods_of_its_own():
    @late_dataclass.dataclass(frozen=True, slots=True, kw_only=True)
    class Key:
        part: str = ""
        serial: str

        def __repr__(self):
            return f"<{self.serial}>"

        def __hash__(self):
            return 7

    assert repr(Key(serial="A")) == "<A>"
    assert hash(Key(serial="A")) == 7
    with pytest.raises(TypeError):
        Key("A")


@late_dataclass.dataclass(frozen=True, slots=True)
class Kept:
    """At the top of a module, where pickle finds it."""

    serial: str
    values: tuple[float, ...] = ()


def test_frozen_objects_travel_between_processes():
    one = Kept("A", (1.0, 2.0))
    assert pickle.loads(pickle.dumps(one)) == one
