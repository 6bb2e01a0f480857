"""What stays the same while a bench runs, as the page shows it. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from acquire.page.telling import picked
from acquire.records import Purpose
from acquire.words.batches import PURPOSES


@dataclass(frozen=True, slots=True)
class About:
    """One bench.

    Attributes:
        name, meter, operator, software: of the bench.
        purpose: why it measures.
        speech: "browser" or "machine", whichever speaks.
        orders: whether the page may order something.
        speed: of the bench's clock; 1 except in a demonstration.
        demo: the instruments are simulated.
        typed: readings are typed, since the meter has no cable.
        study: a gauge study is at work, whose values nobody sees.
    """

    name: str
    purpose: Purpose
    meter: str
    operator: str
    software: str
    speech: str = "browser"
    orders: bool = True
    speed: float = 1.0
    demo: bool = False
    typed: bool = False
    study: bool = False

    def plain(self) -> dict[str, Any]:
        """For the page."""
        own = picked(
            self, "name", "purpose", "meter", "operator", "software", "speech", "demo", "typed", "study"
        )
        return {**own, "purpose_word": PURPOSES[self.purpose]}
