"""Sans-I/O: from a setup to commands and from an answer to a number, in one meter's dialect.

Not for sending (`drivers.scpi.dialogue`) nor for the standard's own grammar (`drivers.scpi.language`).
"""

from __future__ import annotations

from drivers.answers import Answer, parse_answer
from drivers.frame import Decoded, FrameProtocol, FrameRefused
from drivers.link.address import PLAIN_LINE
from drivers.link.framing import Framer, LineFramer
from drivers.meter import Setup
from drivers.reading import Quantity
from drivers.scpi import language
from drivers.scpi.options import BenchMeterOptions, RangeCode

_AS = {Quantity.RESISTANCE_4W: Quantity.RESISTANCE, Quantity.CONTINUITY: Quantity.RESISTANCE,
       Quantity.DIODE: Quantity.VOLTAGE_DC}  # fmt: skip
"""Quantities whose answers carry the unit of another."""
_RANGELESS = frozenset({Quantity.CONTINUITY, Quantity.DIODE})


class Dialect:
    """One meter's way of saying things.

    Attributes:
        functions: the meter's name of each function it has.
    """

    def __init__(self, options: BenchMeterOptions) -> None:
        self._options = options
        names = {**language.FUNCTION_OF, **options.functions}
        self.functions: dict[Quantity, str] = {quantity: name for quantity, name in names.items() if name}

    def setup_commands(self, setup: Setup) -> list[str]:
        """Commands that set function and range.

        Raises:
            ValueError: no known range holds the expected value.
        """
        by_itself = setup.expected_si is None or setup.quantity in _RANGELESS
        texts = self._options.configure_auto if by_itself else self._options.configure
        return [self._filled(text, setup) for text in texts]

    def integration_command(self, setup: Setup) -> str:
        """Command for the wanted integration time; empty if there is none to send."""
        if setup.integration_plc is None or setup.quantity in _RANGELESS:
            return ""
        return self._filled(self._options.integration, setup)

    def compensation_command(self, setup: Setup) -> str:
        """Command for offset compensation; empty if there is none to send."""
        if not setup.offset_compensation or setup.quantity not in {
            Quantity.RESISTANCE,
            Quantity.RESISTANCE_4W,
        }:
            return ""
        return self._filled(self._options.compensation, setup)

    def range_query(self, quantity: Quantity) -> str:
        """Question for the range alone; empty if there is none."""
        return self._filled(self._options.range_query, Setup(quantity))

    def range_for(self, setup: Setup) -> RangeCode | None:
        """The finest known range that holds the expected value; None where no ranges are known.

        Raises:
            ValueError: ranges are known and none holds it.
        """
        known = [known for known in self._options.ranges if known.quantity is setup.quantity]
        if not known or setup.expected_si is None:
            return None
        wide = [known for known in known if known.full_scale_si >= abs(setup.expected_si)]
        if not wide:
            widest = max(known.full_scale_si for known in known)
            raise ValueError(f"its widest range is {widest:g}, but {setup.expected_si:g} is expected")
        return min(wide, key=lambda known: known.full_scale_si)

    def _filled(self, text: str, setup: Setup) -> str:
        found = self.range_for(setup) if "{range_code}" in text or "{full_scale}" in text else None
        return text.format(
            function=self.functions[setup.quantity],
            expected="" if setup.expected_si is None else f"{setup.expected_si:.6G}",
            range_code=found.code if found else "",
            full_scale=f"{found.full_scale_si:G}" if found else "",
            plc="" if setup.integration_plc is None else f"{setup.integration_plc:g}",
        ).strip()

    def parse_reading(self, answer: str, quantity: Quantity) -> Answer:
        """Find the reading of a quantity in an answer; what does not fit whole is refused, never cut.

        Raises:
            ValueError: there is none; says why.
        """
        found = parse_answer(answer, self._options)
        if found is None:
            raise ValueError("it is empty")
        told = found.quantity or quantity
        if _AS.get(told, told) is not _AS.get(quantity, quantity):
            raise ValueError(f"{answer!r} is no {quantity.value}")
        return found


class AnswerFormat(FrameProtocol):
    """Answers to a read query as a `FrameProtocol`; they carry no unit, so the quantity is given.

    Args:
        dialect: the meter's.
        quantity: what its numbers are taken for.
    """

    name = "scpi"
    usual_line = PLAIN_LINE
    checked = True  # by the link, USB, TCP or GPIB, and by the dialogue: an answer must fit its question
    verification = "standard"

    def __init__(self, dialect: Dialect, quantity: Quantity) -> None:
        self._dialect = dialect
        self._quantity = quantity
        self.quantities = frozenset(dialect.functions)

    def framer(self) -> Framer:
        """Lines that end in CR, LF or both."""
        return LineFramer()

    def decode(self, frame: bytes) -> Decoded:
        """Decode one answer. Raises: FrameRefused."""
        try:
            found = self._dialect.parse_reading(frame.decode(), self._quantity)
        except ValueError as error:
            raise FrameRefused(str(error)) from error
        return Decoded(self._quantity, found.kind, found.value_si, flags=found.flags)
