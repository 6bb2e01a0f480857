"""What stays the same while a bench runs, as the page shows it. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from acquire.records import Purpose

PURPOSE_WORDS = {
    Purpose.INCOMING: "incoming units",
    Purpose.WINDING: "at the winder",
    Purpose.FINAL: "final test",
    Purpose.RETURNED: "returned units",
}
"""Why a bench measures, for people."""


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

    def plain(self) -> dict[str, Any]:
        """For the page."""
        return {
            "name": self.name,
            "purpose": self.purpose.value,
            "purpose_word": PURPOSE_WORDS[self.purpose],
            "meter": self.meter,
            "operator": self.operator,
            "software": self.software,
            "speech": self.speech,
            "demo": self.demo,
            "typed": self.typed,
        }
