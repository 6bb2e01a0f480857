"""What is said of a contact: that it creeps, and why it should be held longer. Codes in, sentences out."""

from __future__ import annotations

from dataclasses import replace

import pytest

from acquire.page.contact_view import ContactView
from acquire.records import Approach, Contact, Hindrance, Hold, Settled
from acquire.words.settling import held, hindered
from drivers.reading import Quantity

OHM = Quantity.RESISTANCE


def approach(hindrance=None):
    return Approach("m", OHM, 47.3, 1.5, 5.0, 5.0, hindrance)


def settled(hold=None, hold_s=0.0):
    return Settled(
        "m",
        OHM,
        47.3,
        0.0,
        9.0,
        0.0,
        0.0,
        0.0,
        9,
        None,
        None,
        1.0,
        3.0,
        3.0,
        hold=hold,
        hold_s=hold_s,
    )


def test_a_creeping_contact_is_told_what_to_do():
    assert hindered(approach(Hindrance.CREEPS)) == "the contact creeps: clean the pin or press harder"
    assert hindered(approach()) == ""


@pytest.mark.parametrize(
    ("hold", "why"),
    [(Hold.FIRST_OF_SHIFT, "one of the first contacts of the shift"), (Hold.SAMPLE, "one contact in thirty")],
)
def test_a_longer_hold_is_asked_for_with_the_reason(hold, why):
    assert held(settled(hold, 4.0)) == f"hold on for 4 s: the bench learns from {why}"
    assert held(settled()) == ""


def test_a_value_in_doubt_says_so():
    assert held(replace(settled(), in_doubt=True)).startswith("not surely settled")


def test_the_page_shows_both_in_place_of_the_word():
    view = ContactView()
    view.show(Contact("m", 1.0, 1.0))

    view.show(approach(Hindrance.CREEPS))
    assert view.rest["word"] == "the contact creeps: clean the pin or press harder"
    view.show(approach())
    assert view.rest["word"] == "nearly settled"
    view.show(settled(Hold.SAMPLE, 4.0))
    assert view.rest["word"] == "hold on for 4 s: the bench learns from one contact in thirty"
