"""A frozen dataclass is what `dataclasses.dataclass(frozen=True)` makes it."""

import copy
import dataclasses
import inspect
import pickle

import pytest

from yieldest.frozen import frozen_dataclass


@frozen_dataclass
class Ours:
    """A part."""

    mass_kg: float
    name: str = "hub"
    parts: list[str] = dataclasses.field(default_factory=list)
    hidden: float = dataclasses.field(default=0.0, repr=False, compare=False)


@dataclasses.dataclass(frozen=True)
class Theirs:
    """The same, made by the standard library."""

    mass_kg: float
    name: str = "hub"
    parts: list[str] = dataclasses.field(default_factory=list)
    hidden: float = dataclasses.field(default=0.0, repr=False, compare=False)


@frozen_dataclass
class Painted(Ours):
    """A part with one more field."""

    colour: str = "red"


@pytest.mark.parametrize(
    ("values", "named"),
    [((2.0,), {}), ((2.0, "tail"), {"hidden": 3.0}), ((), {"name": "vane", "mass_kg": 1.0})],
)
def test_it_is_made_shown_and_compared_as_the_standard_one(values, named):
    ours, theirs = Ours(*values, **named), Theirs(*values, **named)
    assert dataclasses.asdict(ours) == dataclasses.asdict(theirs)
    assert repr(ours) == repr(theirs).replace("Theirs", "Ours")
    assert ours == Ours(*values, **named) == dataclasses.replace(ours, hidden=9.0)
    assert ours != dataclasses.replace(ours, name="other")
    assert ours != theirs
    assert copy.deepcopy(ours) == pickle.loads(pickle.dumps(ours)) == ours


@pytest.mark.parametrize(
    ("values", "named"),
    [
        ((), {}),
        ((1.0,), {"mass_kg": 1.0}),
        ((1.0,), {"length_m": 1.0}),
        ((1.0, "a", [], 0.0, 5), {}),
        ((), {"name": "a"}),
    ],
)
def test_it_refuses_other_fields_as_the_standard_one(values, named):
    for kind in (Ours, Theirs):
        with pytest.raises(TypeError):
            kind(*values, **named)


def test_its_fields_stay():
    part = Painted(1.0, colour="blue")
    for kind in (part, Theirs(1.0)):
        with pytest.raises(dataclasses.FrozenInstanceError):
            kind.mass_kg = 2.0
        with pytest.raises(dataclasses.FrozenInstanceError):
            del kind.mass_kg
    assert (part.mass_kg, part.colour, part.parts) == (1.0, "blue", [])
    assert hash(frozen_dataclass(type("Flat", (), {}))()) == hash(())


def test_its_signature_names_the_fields():
    ours, theirs = inspect.signature(Ours), inspect.signature(Theirs)
    assert list(ours.parameters) == list(theirs.parameters)
    assert ours.parameters["name"].default == "hub"
    assert ours.parameters["mass_kg"].default is inspect.Parameter.empty
