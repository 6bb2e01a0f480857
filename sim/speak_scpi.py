"""SCPI answers of a bench meter, as text lines (IEEE 488.2 and SCPI-99, the part a resistance bench uses).

Own grammar and number format; shares nothing with the driver it is spoken to by. Not a full instrument:
functions other than 2- and 4-wire ohms are refused by name.
"""

from __future__ import annotations

from collections import deque
from functools import partial

from sim.meter import Meter
from sim.scpi_grammar import (
    ERRORS,
    Answer,
    Refused,
    Row,
    alone,
    exponent,
    fixed,
    flag,
    header_and_arguments,
    long_and_short,
    only,
    parse_number,
    plain,
    resolve,
    split_outside_quotes,
    switch,
)
from sim.switch_card import BusCard

IDENTITY = "Invented Instruments,Bench 6.5,SIM0001,1.00"
OVERLOAD = 9.9e37
"""SCPI-99, 7.2.1.4: positive infinity is sent as 9.9E37."""


class ScpiVoice:
    """What a SCPI meter answers to each line.

    Args:
        meter: measures.
        identity: answer to `*IDN?`.
        card: a switch card, where the meter has one.
    """

    def __init__(self, meter: Meter, identity: str = IDENTITY, card: BusCard | None = None) -> None:
        self.meter = meter
        self._card = card
        self.identity = identity
        self.errors: deque[int] = deque()
        self._event_enable = 0
        rows = [*self._commands(), *(card.rows() if card is not None else [])]
        self._table = [(long_and_short(p), query, act) for p, query, act in rows]
        self._reset()

    # ------------------------------------------------------------------ lines
    async def answer(self, line: str) -> str | None:
        """The reply to one line, without terminator; None where nothing is sent."""
        replies: list[str] = []
        path = ""
        try:
            parts = [part.strip() for part in split_outside_quotes(line.strip(), ";")]
        except Refused as refused:
            self._push(refused.code)
            return None
        for command in filter(None, parts):
            try:
                header, arguments = header_and_arguments(command)
                full, path = resolve(header, path)
                reply = await self._run(full, arguments)
            except Refused as refused:
                self._push(refused.code)
                break
            if reply is not None:
                replies.append(reply)
        return ";".join(replies) if replies else None

    def overrun(self) -> None:
        """A line without end filled the input buffer."""
        self._push(-363)

    async def _run(self, header: str, arguments: list[str]) -> str | None:
        query = header.endswith("?")
        name = header.removesuffix("?").upper()
        for pattern, is_query, act in self._table:
            if is_query == query and pattern.fullmatch(name):
                return await act(arguments)
        raise Refused(-113)

    def _push(self, code: int) -> None:
        if len(self.errors) >= 20:
            self.errors[-1] = -350
        else:
            self.errors.append(code)

    # ------------------------------------------------------------------ table
    def _commands(self) -> list[Row]:
        rows: list[Row] = [
            ("*IDN", True, fixed(lambda: self.identity)),
            ("*RST", False, plain(self._full_reset)),
            ("*CLS", False, plain(self.errors.clear)),
            ("*OPC", True, fixed(lambda: "1")),
            ("*ESE", False, self._set_event_enable),
            ("*ESE", True, fixed(lambda: f"+{self._event_enable}")),
            ("SYSTem:ERRor[:NEXT]", True, fixed(self._next_error)),
            ("SYSTem:REMote", False, plain(lambda: None)),
            ("CONFigure", True, fixed(self._configuration)),
            ("[SENSe:]FUNCtion", True, fixed(lambda: f'"{self._function()}"')),
            ("[SENSe:]FUNCtion", False, self._set_function),
            ("READ", True, alone(self._read)),
            ("ABORt", False, plain(lambda: None)),
        ]
        for word, four_wire in (("RESistance", False), ("FRESistance", True)):
            rows += self._function_rows(word, four_wire=four_wire)
        return rows

    def _function_rows(self, word: str, *, four_wire: bool) -> list[Row]:
        sense = f"[SENSe:]{word}"
        return [
            (f"CONFigure[:SCALar]:{word}", False, self._configure(four_wire)),
            (f"{sense}:NPLC", False, self._set_nplc),
            (f"{sense}:NPLC", True, fixed(lambda: exponent(self.meter.nplc))),
            (f"{sense}:OCOMpensated", False, self._sets("offset_compensation")),
            (f"{sense}:OCOMpensated", True, fixed(lambda: flag(self.meter.offset_compensation))),
            (f"{sense}:RANGe[:UPPer]", False, self._set_range),
            (f"{sense}:RANGe[:UPPer]", True, fixed(lambda: exponent(self.meter.range.nominal_ohm))),
            (f"{sense}:RANGe:AUTO", False, self._sets("auto")),
            (f"{sense}:RANGe:AUTO", True, fixed(lambda: flag(self.meter.auto))),
        ]

    # --------------------------------------------------------------- settings
    def _reset(self) -> None:
        self.meter.four_wire = False
        self.meter.auto = True
        self.meter.nplc = 10.0
        self.meter.offset_compensation = False

    def _full_reset(self) -> None:
        self._reset()
        if self._card is not None:
            self._card.forget()

    def _next_error(self) -> str:
        code = self.errors.popleft() if self.errors else 0
        return f'{code:+d},"{ERRORS[code]}"'

    def _function(self) -> str:
        return "FRES" if self.meter.four_wire else "RES"

    def _resolution_ohm(self) -> float:
        """One count at the integration time in force: six and a half digits from one power-line cycle up."""
        coarser = 1 if self.meter.nplc >= 1 else 3 if self.meter.nplc >= 0.2 else 10
        return self.meter.range.count_ohm * coarser

    def _configuration(self) -> str:
        range_ohm, count_ohm = self.meter.range.nominal_ohm, self._resolution_ohm()
        return f'"{self._function()} {exponent(range_ohm)},{exponent(count_ohm)}"'

    def _sets(self, what: str) -> Answer:
        """A command that switches something of the meter on or off."""
        return switch(partial(setattr, self.meter, what))

    async def _set_event_enable(self, arguments: list[str]) -> None:
        self._event_enable = int(parse_number(only(arguments), 0, 255))

    async def _set_function(self, arguments: list[str]) -> None:
        word = only(arguments)
        if word[:1] not in "\"'" or word[-1:] != word[:1]:
            raise Refused(-104)
        for pattern, four_wire in (("RESistance", False), ("FRESistance", True)):
            if long_and_short(pattern).fullmatch(word[1:-1].upper()):
                self.meter.four_wire = four_wire
                return
        raise Refused(-224)

    async def _set_range(self, arguments: list[str]) -> None:
        self.meter.range_index, self.meter.auto = self._range_of(only(arguments)), False

    def _range_of(self, word: str) -> int:
        """Index of the range that a parameter names."""
        top = len(self.meter.kind.ranges) - 1
        index = {"MIN": 0, "MINIMUM": 0, "MAX": top, "MAXIMUM": top}.get(word.upper())
        if index is None:
            index = self.meter.index_for(parse_number(word, 0, float("inf")))
        if index is None:
            raise Refused(-222)
        return index

    async def _set_nplc(self, arguments: list[str]) -> None:
        word = only(arguments).upper()
        fixed = {"MIN": 0.02, "MAX": 100.0, "DEF": 10.0}.get(word)
        wanted = fixed if fixed is not None else parse_number(word, 0.02, 100)
        self.meter.nplc = min(
            (n for n in (0.02, 0.2, 1.0, 10.0, 100.0) if n >= wanted * 0.999), default=100.0
        )

    def _configure(self, four_wire: bool) -> Answer:
        async def run(arguments: list[str]) -> None:
            self._apply_configuration(four_wire, arguments)

        return run

    def _apply_configuration(self, four_wire: bool, arguments: list[str]) -> None:
        """CONFigure: function, range, resolution; all else goes back to its default."""
        if len(arguments) > 2:
            raise Refused(-108)
        words = [*arguments, "DEF", "DEF"][:2]
        automatic = words[0].upper() in {"DEF", "DEFAULT", "AUTO"}
        index = None if automatic else self._range_of(words[0])  # refused before anything is changed
        self._reset()
        self.meter.four_wire = four_wire
        if index is not None:
            self.meter.range_index, self.meter.auto = index, False
        if words[1].upper() not in {"DEF", "DEFAULT", "MIN", "MINIMUM"}:
            share = 1.0 if words[1].upper().startswith("MAX") else parse_number(words[1], 0, float("inf"))
            share /= self.meter.range.nominal_ohm
            steps = ((1e-4, 0.02), (1e-5, 0.2), (3e-6, 1.0), (1e-6, 10.0))
            self.meter.nplc = next((n for least, n in steps if share >= least), 100.0)

    # ---------------------------------------------------------------- reading
    async def _read(self) -> str:
        shown = await self.meter.convert()
        return exponent(OVERLOAD if shown.overload else shown.ohm)
