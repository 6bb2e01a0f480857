"""What is typed from a display, held against what that display can show."""

from __future__ import annotations

import pytest

from acquire.bench.keyboard import into
from acquire.records import Refusal, Refused
from drivers.handheld.typed import TypedMeter
from drivers.models import load_model
from tests.pure_bench import CONFIGS

HAND = load_model(CONFIGS / "meters" / "hand-2000.toml")


def typing(model=HAND):
    """What takes typed lines for a meter without a cable."""
    return into(TypedMeter(meter_id="typed", address="", clock=lambda: (0.0, 0.0)), lambda: model)


@pytest.mark.parametrize("text", ["441", "20.6", "0.44k", "1.999k", "19.99k", "0.441M", "199.9"])
async def test_what_a_display_of_2000_counts_shows_is_taken(text):
    """Each on one of its ranges."""
    assert (await typing()(text))["typed"] == text


@pytest.mark.parametrize("text", ["441.3", "20.63", "2.0001k", "1234.5"])
async def test_digits_that_no_range_of_it_shows_are_refused(text):
    """A slip, or another meter's: its resolution would promise what this meter does not keep."""
    with pytest.raises(Refused) as refused:
        await typing()(text)
    assert refused.value.refusal is Refusal.READING_NOT_SHOWN
    assert refused.value.facts["model"] == "hand-2000"
