"""One contact of the probes: what it was taken for, and whether they were seen to leave before it."""

from dataclasses import replace

import pytest

from acquire.heart.touching import Touching
from acquire.steps.pairs import PairTable
from acquire.steps.unit import UnitProgress
from drivers.reading import Kind, Quantity, Reading
from tests.known_sheets import PLOVER, corrected

PROGRESS = UnitProgress(PairTable(PLOVER), "A1")


def shown(kind, quantity=Quantity.RESISTANCE):
    """What the meter shows when a contact ends."""
    value = 200.0 if kind is Kind.VALUE else None
    return Reading("meter", quantity, kind, value, monotonic_s=1.0, utc_s=1.0, conversion=1, raw=b"")


def held():
    """A contact that goes on."""
    touching = Touching()
    touching.begun(Quantity.RESISTANCE)
    return touching


def settled(ohm=200.0, contact_s=0.0):
    return replace(corrected(ohm).settled, contact_s=contact_s, expanded_si=0.01)


@pytest.mark.parametrize(
    ("ending", "seen"),
    [
        (shown(Kind.OVERLOAD), True),
        (shown(Kind.VALUE), False),
        (shown(Kind.VALUE, Quantity.RESISTANCE_4W), False),
        (shown(Kind.OVERLOAD, Quantity.RESISTANCE_4W), False),
        (None, False),
    ],
)
def test_only_overload_of_the_same_quantity_shows_that_the_probes_have_left(ending, seen):
    """Not a silent meter, and not one that was set anew and shows overload while it looks for a range."""
    touching = held()
    touching.latest = settled()
    touching.ended(ending)
    assert touching.latest is None
    touching.begun(Quantity.RESISTANCE)
    assert touching.returned is seen


def test_one_lift_off_serves_one_contact():
    """The next contact needs one of its own; what is forgotten was not seen."""
    touching = held()
    touching.ended(shown(Kind.OVERLOAD))
    touching.begun(Quantity.RESISTANCE)
    assert touching.returned
    touching.begun(Quantity.RESISTANCE)
    assert not touching.returned
    touching.ended(shown(Kind.OVERLOAD))
    touching.forget()
    touching.begun(Quantity.RESISTANCE)
    assert not touching.returned


def test_a_value_that_slides_to_other_pins_has_not_returned():
    """The same contact, another pair: news, but nobody has lifted."""
    touching = held()
    touching.ended(shown(Kind.OVERLOAD))
    touching.begun(Quantity.RESISTANCE)
    touching.latest = settled(200.0)
    assert not touching.is_news(settled(200.005), PROGRESS)
    assert touching.returned
    assert touching.is_news(settled(201.0), PROGRESS)
    assert touching.returned
    assert touching.is_news(settled(46.0), PROGRESS)
    assert not touching.returned
    assert touching.is_news(settled(200.0, contact_s=5.0), PROGRESS)


def test_the_contact_that_was_acted_on_is_known():
    """By its beginning; and whether the meter is set as it was."""
    touching = Touching()
    assert not touching.is_judged_already(settled())
    assert touching.same_setting(settled())
    touching.latest = settled()
    assert touching.is_judged_already(settled(46.0))
    assert not touching.is_judged_already(settled(contact_s=5.0))
    assert not touching.same_setting(replace(settled(), quantity=Quantity.RESISTANCE_4W))
