"""Meters that answer a question with one or two lines ending in CR. Sans-I/O.

Three shapes, after the manuals of several makers' hand and bench meters:

    first   QM -> `0` then `value,unit,state,attribute`   (an acknowledgement comes first; from memory)
    none    S? -> `10.47 OHM`                              (one line)
    last    R1 -> `+10.470` then `=>`                      (a prompt comes last)

Only reading is asked for, never a key pressed: wrong messages can overwrite a calibration.
"""

from __future__ import annotations

import re

from drivers.answers import QUANTITIES, parse_answer
from drivers.frame import Decoded, FrameProtocol, FrameRefused, NotMeasured
from drivers.handheld.options import Acknowledgement, TwoLineOptions
from drivers.link.address import SerialLine
from drivers.link.framing import Framer, LineFramer
from drivers.reading import Kind, Origin, Quantity

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


class TwoLine(FrameProtocol):
    """The protocol, see `FrameProtocol`.

    Args:
        options: shape of an answer, and how its line of the reading looks.
    """

    name = "two_line"
    usual_line = SerialLine(baud=9600, bits=8, parity="N", stop_bits=1, dtr=True, rts=True)
    quantities = QUANTITIES - {Quantity.RESISTANCE_4W}
    verification = "memory"

    def __init__(self, options: TwoLineOptions) -> None:
        self._options = options
        self.flags_visible = frozenset(options.flag_words.values())

    def framer(self) -> Framer:
        """Whole answers."""
        return AnswerFramer(self._options.acknowledgement)

    def decode(self, frame: bytes) -> Decoded:
        """Decode one whole answer. Raises: FrameRefused, NotMeasured."""
        try:
            lines = [line.strip() for line in frame.decode("ascii").replace("\n", "\r").split("\r")]
        except UnicodeDecodeError as error:
            raise FrameRefused("not ASCII") from error
        lines = [line for line in lines if line]
        if not lines:
            raise FrameRefused("empty")
        if self._options.acknowledgement == "first":
            return self._after_acknowledgement(lines)
        if self._options.acknowledgement == "last":
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
        return self._number_and_unit(rest[0])

    def _before_prompt(self, lines: list[str]) -> Decoded:
        prompt = lines[-1]
        if prompt == _NO_NUMBER:
            if self._options.quantity is None:
                raise NotMeasured("no numeric reading")
            return Decoded(self._options.quantity, Kind.NO_READING, None)
        if prompt not in _PROMPTS:
            raise FrameRefused("no prompt")
        if _PROMPTS[prompt]:
            raise NotMeasured(f"prompt {prompt}: {_PROMPTS[prompt]}")
        results = lines[:-1]
        if len(results) == 2 and results[0][0] not in "+-.0123456789":
            results = results[1:]  # echo of the question
        if len(results) != 1:
            raise FrameRefused("not exactly one line before the prompt")
        return self._number_and_unit(results[0])

    def _number_and_unit(self, text: str) -> Decoded:
        try:
            found = parse_answer(text, self._options)
        except ValueError as error:
            raise FrameRefused(str(error)) from error
        quantity = None if found is None else found.quantity or self._options.quantity
        if found is None or quantity is None:
            raise FrameRefused("no unit, and none is set in the options")
        return Decoded(
            quantity, found.kind, found.value_si, found.resolution_si, None, Origin.INFERRED, found.flags
        )
