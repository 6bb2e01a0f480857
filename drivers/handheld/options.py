"""Options of hand meters, as `[meters.options]` gives them; and which frames must agree before one counts.

One flipped bit turns a good frame into another good one in 12 to 27 of 100 cases, where no checksum guards
it, depending on the protocol. So a frame is held back until a neighbour of another conversion says nearly the
same; a lonely one is dropped. A meter whose probes are lifted sends many frames of overload, so nothing real
is lost but a moment. Not for settling: "nearly" is wide on purpose (see `near`).
"""

from __future__ import annotations

import re
from operator import attrgetter
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from drivers.answers import AnswerOptions
from drivers.frame import Decoded
from drivers.handheld.parity11 import Parity
from drivers.reading import Quantity, Reading

Rule = Literal["near", "exact", "off"]
NEAR_COUNTS = 3
NEAR_SHARE = 0.005
"""Half a percent, or three counts: wider than noise and drift of a probe at rest, narrower than a wrong
point, unit, prefix or leading digit; workshop choice, measured in `tests/benchmarks/drivers.py`."""


_SAID = attrgetter(*Decoded.__slots__)
"""What a reading has of its frame."""


class Agreement:
    """Lets frames through in order once a neighbour agrees.

    Args:
        rule: "near" (see the module), "exact" (the same in every respect), "off" (all pass at once).
    """

    def __init__(self, rule: Rule = "near") -> None:
        self._rule = rule
        self._last: Reading | None = None
        self._last_passed = False

    def take(self, frame: Reading) -> list[Reading]:
        """Take the next frame's reading; give those that may pass now, oldest first."""
        if self._rule == "off":
            return [frame]
        last, passed = self._last, self._last_passed
        agrees = last is not None and self._agree(last, frame)
        self._last, self._last_passed = frame, agrees
        if last is None or not agrees:
            return []
        return [frame] if passed else [last, frame]

    def _agree(self, one: Reading, other: Reading) -> bool:
        return bool(_SAID(one) == _SAID(other)) if self._rule == "exact" else near(one, other)

    def forget_waiting(self) -> None:
        """Keep the last frame as a neighbour, but never let it through any more."""
        self._last_passed = True

    def reset(self) -> None:
        """Forget the last frame, after a gap."""
        self._last = None
        self._last_passed = False


def near(one: Reading | Decoded, other: Reading | Decoded) -> bool:
    """Tell whether two frames agree: quantity, kind, and values within half a percent or three counts."""
    if one.quantity is not other.quantity or one.kind is not other.kind:
        return False
    if one.value_si is None or other.value_si is None:
        return True
    counts = NEAR_COUNTS * max(one.resolution_si or 0.0, other.resolution_si or 0.0)
    room = max(counts, NEAR_SHARE * max(abs(one.value_si), abs(other.value_si)))
    return abs(one.value_si - other.value_si) <= room


class HandMeterOptions(BaseModel):
    """What all hand meters share.

    Attributes:
        agreement: "near" holds a frame back until a neighbour agrees within half a percent or three counts;
            "exact" until one is the same; "off" trusts every frame.
        silence_s: longest pause before the meter counts as silent; seconds.
        look_s: how long `configure` watches to learn where the dial stands; seconds.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    agreement: Rule = "near"
    silence_s: Annotated[float, Field(gt=0, le=600)] = 5.0
    look_s: Annotated[float, Field(ge=0, le=30)] = 1.5


class Status14Options(HandMeterOptions):
    """Attributes: counts: of the display, 4000 or 6000."""

    counts: Annotated[int, Field(ge=1000, le=100_000)] = 6000


class Parity11Options(HandMeterOptions):
    """Attributes: parity: "odd" or "none" where it is known, "auto" to go by each frame."""

    parity: Parity = "auto"


class Segments14Options(HandMeterOptions):
    """Attributes: celsius_bit: user bit 0 to 3 that lights the degree sign, for meters with a thermometer."""

    celsius_bit: Annotated[int, Field(ge=0, le=3)] | None = None


class Stx16Options(HandMeterOptions):
    """Which display, and what a blank one means.

    Attributes:
        display: 1 upper, 2 lower.
        blank_means: "overload" for an ohmmeter that shows no digits with its probes apart, so that lifting
            them is seen; "no_reading" where that is not known.
    """

    display: Annotated[int, Field(ge=1, le=2)] = 1
    blank_means: Literal["no_reading", "overload"] = "no_reading"


class PolledOptions(HandMeterOptions):
    """What meters share that are asked.

    Attributes:
        query: text to ask with, line end included; empty for sets that send by themselves.
        poll_s: time between two questions; seconds. A display changes 2 to 5 times a second.
        reply_timeout_s: longest wait for an answer before it is asked again; seconds.
    """

    query: str = ""
    poll_s: Annotated[float, Field(ge=0, le=60)] = 0.3
    reply_timeout_s: Annotated[float, Field(gt=0, le=60)] = 1.0


class Ascii14Options(PolledOptions):
    """Which display, and what it shows beyond range.

    Attributes:
        counts: of the display, e.g. 2000 or 20000; 0 when unknown.
        overload_words: what stands for "beyond range" besides digits with an L.
    """

    query: str = "D"
    overload_words: tuple[str, ...] = ()
    poll_s: Annotated[float, Field(ge=0, le=60)] = 0.5
    counts: Annotated[int, Field(ge=0, le=1_000_000)] = 2000


Acknowledgement = Literal["first", "none", "last"]
_USUAL_QUERY = {"first": "QM\r", "none": "S?\r", "last": "R1\r\n"}

_ACKNOWLEDGED = {
    "fields": (4,),
    "unit_field": 1,
    "status_field": 2,
    "status_good": ("NORMAL",),
    "overload_words": ("OL", "OL_MINUS"),
    "no_reading_words": ("BLANK", "INVALID", "DISCHARGE", "OPEN_TC"),
    "ignored_fields": (3,),  # how a continuity or diode test went: its number says it better
}
"""Value, unit, state and attribute, as meters send them that acknowledge first; from memory."""


class TwoLineOptions(AnswerOptions, PolledOptions):
    """How a meter of questions and answers talks; how its answers look is said by `AnswerOptions`.

    Attributes:
        acknowledgement: "first", "none" or "last": where the answer's second line stands.
        query: what to ask; the shape's usual question when empty. Only questions: keys are never pressed.
        quantity: what a number without a unit means.
    """

    acknowledgement: Acknowledgement = "first"
    quantity: Quantity | None = None

    @model_validator(mode="before")
    @classmethod
    def _as_acknowledged(cls, given: dict[str, Any]) -> dict[str, Any]:
        shape = given.get("acknowledgement", "first")
        query = given.get("query") or _USUAL_QUERY.get(shape, "")
        return {**(_ACKNOWLEDGED if shape == "first" else {}), **given, "query": query}


class LineMeterOptions(AnswerOptions, PolledOptions):
    """How a meter of plain lines talks; how its lines look is said by `drivers.answers.AnswerOptions`.

    Attributes:
        pattern: a regular expression of your own for a whole line, with a group `value` and, where there are
            any, `prefix`, `unit` and `flags`; None takes the built-in grammar.
        quantity: what lines without a unit mean.
        terminator: each of these characters alone ends a line.
        encoding: of the lines.
        agreement: "off" as a rule, as befits USB and TCP, which check bytes below, and lines with `*HH`;
            "near" or "exact" for long RS-232 lines.
    """

    pattern: str | None = None
    quantity: Quantity | None = None
    terminator: Annotated[str, Field(min_length=1, max_length=4)] = "\r\n"
    encoding: str = "utf-8"
    agreement: Rule = "off"
    silence_s: Annotated[float, Field(gt=0, le=3600)] = 5.0
    poll_s: Annotated[float, Field(ge=0, le=3600)] = 0.5
    reply_timeout_s: Annotated[float, Field(gt=0, le=3600)] = 5.0

    @field_validator("pattern")
    @classmethod
    def _is_a_pattern(cls, text: str | None) -> str | None:
        if text is not None:
            try:
                groups = re.compile(text).groupindex
            except re.error as error:
                raise ValueError(f"is not a regular expression: {error}") from error
            if "value" not in groups:
                raise ValueError("needs a group named value, as in (?P<value>...)")
        return text
