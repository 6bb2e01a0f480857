"""Meters that answer a question with one or two lines ending in CR. Sans-I/O.

Three shapes, after the manuals of several makers' hand and bench meters:

    first   QM -> `0` then `value,unit,state,attribute`   (an acknowledgement comes first; from memory)
    none    S? -> `10.47 OHM`                              (one line)
    last    R1 -> `+10.470` then `=>`                      (a prompt comes last)

Only reading is asked for, never a key pressed: wrong messages can overwrite a calibration.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import ClassVar, Literal

from drivers.answers import last_digit
from drivers.frame import Decoded, FrameProtocol, FrameRefused, NotMeasured
from drivers.link.address import SerialLine
from drivers.link.framing import Framer, LineFramer
from drivers.reading import Kind, Origin, Quantity

Acknowledgement = Literal["first", "none", "last"]
USUAL_QUERY: dict[Acknowledgement, str] = {"first": "QM\r", "none": "S?\r", "last": "R1\r\n"}
_OVER_AT = 9e37
_ACK_WORDS = {"1": "syntax error", "2": "execution error", "5": "no data available, retry"}
_PROMPTS = {
    "=>": "",
    "!>": "command error",
    "?>": "parameter error",
    "#>": "a key was pressed",
    "*>": "reset",
}
_NO_NUMBER = "@>"
_PROMPT = re.compile(r"[=!?#@*SWE]>")
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_UNITS = {
    "OHM": Quantity.RESISTANCE,
    "OHMS": Quantity.RESISTANCE,
    "VDC": Quantity.VOLTAGE_DC,
    "V DC": Quantity.VOLTAGE_DC,
    "VAC": Quantity.VOLTAGE_AC,
    "V AC": Quantity.VOLTAGE_AC,
    "ADC": Quantity.CURRENT_DC,
    "AAC": Quantity.CURRENT_AC,
    "HZ": Quantity.FREQUENCY,
    "FAR": Quantity.CAPACITANCE,
    "CEL": Quantity.TEMPERATURE,
}
_NOT_HERE = {"SIE", "FAH", "PCT"}  # codespell:ignore sie
_NO_READING_STATES = {"BLANK", "INVALID", "DISCHARGE", "OPEN_TC"}


class AnswerFramer:
    """Collects the lines of one answer; gives them joined by CR, each ending in CR.

    Args:
        acknowledgement: which shape the answer has.
    """

    def __init__(self, acknowledgement: Acknowledgement) -> None:
        self._shape = acknowledgement
        self._lines = LineFramer()
        self._part: list[bytes] = []
        self.thrown_bytes = 0

    def feed(self, data: bytes) -> list[bytes]:
        """Take bytes; give the answers they complete."""
        answers = []
        for line in self._lines.feed(data):
            self._part.append(line)
            if self._complete():
                answers.append(b"".join(part + b"\r" for part in self._part))
                self._part.clear()
            elif len(self._part) > 4:
                self.reset()
        return answers

    def _complete(self) -> bool:
        if self._shape == "none":
            return True
        if self._shape == "first":
            return self._part[0].strip() != b"0" or len(self._part) == 2
        return _PROMPT.fullmatch(self._part[-1].decode("ascii", "replace").strip()) is not None

    def reset(self) -> None:
        """Forget half an answer."""
        self.thrown_bytes += sum(map(len, self._part))
        self._part.clear()
        self._lines.reset()


@dataclass(frozen=True, slots=True)
class TwoLine(FrameProtocol):
    """The protocol, see `FrameProtocol`.

    Attributes:
        acknowledgement: shape of an answer.
        quantity: what a number without a unit means (shape `last` sends none).
    """

    acknowledgement: Acknowledgement = "first"
    quantity: Quantity | None = None
    name: ClassVar[str] = "two_line"
    frame_bytes: ClassVar[int] = 0
    usual_line: ClassVar[SerialLine] = SerialLine(
        baud=9600, bits=8, parity="N", stop_bits=1, dtr=True, rts=True
    )
    quantities = frozenset(_UNITS.values())
    flags_visible = frozenset()
    verification: ClassVar[str] = "memory"

    def framer(self) -> Framer:
        """Whole answers."""
        return AnswerFramer(self.acknowledgement)

    def decode(self, frame: bytes) -> Decoded:
        """Decode one whole answer. Raises: FrameRefused, NotMeasured."""
        try:
            lines = [line.strip() for line in frame.decode("ascii").replace("\n", "\r").split("\r")]
        except UnicodeDecodeError as error:
            raise FrameRefused("not ASCII") from error
        lines = [line for line in lines if line]
        if not lines:
            raise FrameRefused("empty")
        if self.acknowledgement == "first":
            return self._after_acknowledgement(lines)
        if self.acknowledgement == "last":
            return self._before_prompt(lines)
        if len(lines) != 1:
            raise FrameRefused("more than one line")
        return self._number_and_unit(lines[0])

    def _after_acknowledgement(self, lines: list[str]) -> Decoded:
        acknowledgement, *rest = lines
        if acknowledgement != "0":
            words = _ACK_WORDS.get(acknowledgement)
            if words is None:
                raise FrameRefused("no acknowledgement")
            raise NotMeasured(f"ack {acknowledgement}: {words}")
        if len(rest) != 1:
            raise FrameRefused("not exactly one line behind the acknowledgement")
        fields = [part.strip() for part in rest[0].split(",")]
        if len(fields) != 4:
            raise FrameRefused("not value, unit, state and attribute")
        return self._fields(*fields)

    def _fields(self, value: str, unit: str, state: str, attribute: str) -> Decoded:
        quantity = self._quantity(unit)
        del attribute  # says how a continuity or diode test went: its number says it better
        if _NUMBER.fullmatch(value) is None:
            raise FrameRefused("value")
        if state in _NO_READING_STATES:
            return Decoded(quantity, Kind.NO_READING, None)
        if state not in {"NORMAL", "OL", "OL_MINUS"}:
            raise FrameRefused("state")
        over = abs(float(value)) >= _OVER_AT
        if over != (state != "NORMAL"):
            raise FrameRefused("state and value contradict each other")
        if over:
            minus = state == "OL_MINUS" or float(value) < 0
            return Decoded(quantity, Kind.NEGATIVE_OVERLOAD if minus else Kind.OVERLOAD, None)
        return _value(quantity, value)

    def _before_prompt(self, lines: list[str]) -> Decoded:
        prompt = lines[-1]
        if prompt == _NO_NUMBER:
            if self.quantity is None:
                raise NotMeasured("no numeric reading")
            return Decoded(self.quantity, Kind.NO_READING, None)
        if prompt not in _PROMPTS:
            raise FrameRefused("no prompt")
        if _PROMPTS[prompt]:
            raise NotMeasured(f"prompt {prompt}: {_PROMPTS[prompt]}")
        results = lines[:-1]
        if len(results) == 2 and _NUMBER.match(results[0]) is None:
            results = results[1:]  # echo of the question
        if len(results) != 1:
            raise FrameRefused("not exactly one line before the prompt")
        return self._number_and_unit(results[0])

    def _number_and_unit(self, text: str) -> Decoded:
        match = _NUMBER.match(text)
        if match is None:
            raise FrameRefused("value")
        unit = text[match.end() :].strip()
        quantity = self._quantity(unit) if unit else self.quantity
        if quantity is None:
            raise FrameRefused("no unit, and none is set in the options")
        if abs(float(match[0])) >= _OVER_AT:
            kind = Kind.NEGATIVE_OVERLOAD if float(match[0]) < 0 else Kind.OVERLOAD
            return Decoded(quantity, kind, None)
        return _value(quantity, match[0])

    @staticmethod
    def _quantity(unit: str) -> Quantity:
        if unit in _NOT_HERE:
            raise NotMeasured(f"the display shows {unit}")
        quantity = _UNITS.get(unit)
        if quantity is None:
            raise FrameRefused("unit")
        return quantity


def _value(quantity: Quantity, number: str) -> Decoded:
    return Decoded(quantity, Kind.VALUE, float(number), last_digit(number), None, Origin.INFERRED)
