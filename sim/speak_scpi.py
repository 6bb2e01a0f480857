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
    taken_number,
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
        self._readings: list[float] | None = None
        self._samples = 1
        self._source = "IMM"
        self._armed = False
        self._status_enable = {"ESE": 0, "SRE": 0}
        self._event = 128  # power on
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

    def clear_input(self) -> None:
        """Device clear: forget what is pending; settings and error queue stay."""
        self._armed = False

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
        self._event |= 32 if -200 < code <= -100 else 16 if -300 < code <= -200 else 8

    # ------------------------------------------------------------------ table
    def _commands(self) -> list[Row]:
        rows: list[Row] = [
            ("*IDN", True, fixed(lambda: self.identity)),
            ("*RST", False, plain(self._full_reset)),
            ("*CLS", False, plain(self._clear_status)),
            ("*OPC", True, fixed(lambda: "1")),
            ("*OPC", False, plain(self._operation_complete)),
            ("*WAI", False, plain(lambda: None)),
            ("*TST", True, fixed(lambda: "+0")),
            ("*STB", True, fixed(lambda: "+4" if self.errors else "+0")),
            ("*ESR", True, fixed(self._take_event)),
            ("*TRG", False, alone(self._bus_trigger)),
            ("SYSTem:ERRor[:NEXT]", True, fixed(self._next_error)),
            ("SYSTem:VERSion", True, fixed(lambda: "1999.0")),
            ("SYSTem:REMote", False, plain(lambda: None)),
            ("SYSTem:RWLock", False, plain(lambda: None)),
            ("SYSTem:LOCal", False, plain(lambda: None)),
            ("CONFigure", True, fixed(self._configuration)),
            ("[SENSe:]FUNCtion", True, fixed(lambda: f'"{self._function()}"')),
            ("[SENSe:]FUNCtion", False, self._set_function),
            ("READ", True, alone(self._read)),
            ("INITiate[:IMMediate]", False, alone(self._initiate)),
            ("FETCh", True, alone(self._printed)),
            ("ABORt", False, plain(self.clear_input)),
            ("TRIGger:SOURce", False, self._set_source),
            ("TRIGger:SOURce", True, fixed(lambda: self._source)),
            ("TRIGger:COUNt", False, taken_number(1, 1)),
            ("TRIGger:DELay", False, taken_number(0, 3600)),
            ("TRIGger:DELay:AUTO", False, switch(lambda _on: None)),
            ("SAMPle:COUNt", False, self._set_samples),
            ("SAMPle:COUNt", True, fixed(lambda: f"+{self._samples}")),
            ("[SENSe:]ZERO:AUTO", False, self._sets("auto_zero")),
            ("[SENSe:]ZERO:AUTO", True, fixed(lambda: flag(self.meter.auto_zero))),
        ]
        for register in self._status_enable:
            rows.append((f"*{register}", False, self._set_enable(register)))
            rows.append((f"*{register}", True, fixed(lambda r=register: f"+{self._status_enable[r]}")))  # type: ignore[misc]
        for word, four_wire in (("RESistance", False), ("FRESistance", True)):
            rows += self._function_rows(word, four_wire=four_wire)
        return rows

    def _function_rows(self, word: str, *, four_wire: bool) -> list[Row]:
        sense = f"[SENSe:]{word}"
        return [
            (f"CONFigure[:SCALar]:{word}", False, self._configure(four_wire)),
            (f"MEASure[:SCALar]:{word}", True, self._measure(four_wire)),
            (f"{sense}:NPLC", False, self._set_nplc),
            (f"{sense}:NPLC", True, fixed(lambda: exponent(self.meter.nplc))),
            (f"{sense}:OCOMpensated", False, self._sets("offset_compensation")),
            (f"{sense}:OCOMpensated", True, fixed(lambda: flag(self.meter.offset_compensation))),
            (f"{sense}:RANGe[:UPPer]", False, self._set_range),
            (f"{sense}:RANGe[:UPPer]", True, fixed(lambda: exponent(self.meter.range.nominal_ohm))),
            (f"{sense}:RANGe:AUTO", False, self._sets("auto")),
            (f"{sense}:RANGe:AUTO", True, fixed(lambda: flag(self.meter.auto))),
            (f"{sense}:RESolution", True, fixed(lambda: exponent(self._resolution_ohm()))),
            (f"{sense}:ZERO:AUTO", False, self._sets("auto_zero")),
        ]

    # --------------------------------------------------------------- settings
    def _reset(self) -> None:
        self.meter.four_wire = False
        self.meter.auto = True
        self.meter.nplc = 10.0
        self.meter.auto_zero = True
        self.meter.offset_compensation = False
        self._samples, self._source, self._armed, self._readings = 1, "IMM", False, None

    def _full_reset(self) -> None:
        self._reset()
        if self._card is not None:
            self._card.forget()

    def _clear_status(self) -> None:
        self.errors.clear()
        self._event = 0

    def _operation_complete(self) -> None:
        self._event |= 1

    def _take_event(self) -> str:
        event, self._event = self._event, 0
        return f"+{event}"

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

    def _set_enable(self, register: str) -> Answer:
        async def run(arguments: list[str]) -> None:
            self._status_enable[register] = int(parse_number(only(arguments), 0, 255))

        return run

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
        self._apply_range(only(arguments))

    def _apply_range(self, word: str) -> None:
        top = len(self.meter.kind.ranges) - 1
        fixed = {"MIN": 0, "MINIMUM": 0, "MAX": top, "MAXIMUM": top}.get(word.upper())
        if fixed is None:
            fixed = self.meter.index_for(parse_number(word, 0, float("inf")))
            if fixed is None:
                raise Refused(-222)
        self.meter.range_index, self.meter.auto = fixed, False

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
        self._check_range(words[0])
        self._reset()
        self.meter.four_wire = four_wire
        if words[0].upper() not in {"DEF", "DEFAULT", "AUTO"}:
            self._apply_range(words[0])
        if words[1].upper() not in {"DEF", "DEFAULT", "MIN", "MINIMUM"}:
            share = 1.0 if words[1].upper().startswith("MAX") else parse_number(words[1], 0, float("inf"))
            share /= self.meter.range.nominal_ohm
            steps = ((1e-4, 0.02), (1e-5, 0.2), (3e-6, 1.0), (1e-6, 10.0))
            self.meter.nplc = next((n for least, n in steps if share >= least), 100.0)

    def _check_range(self, word: str) -> None:
        """Refuse a range before anything is changed."""
        if word.upper() in {"DEF", "DEFAULT", "AUTO", "MIN", "MINIMUM", "MAX", "MAXIMUM"}:
            return
        if self.meter.index_for(parse_number(word, 0, float("inf"))) is None:
            raise Refused(-222)

    async def _set_source(self, arguments: list[str]) -> None:
        word = only(arguments).upper()
        known = {"IMM": "IMM", "IMMEDIATE": "IMM", "BUS": "BUS"}
        if word not in known:
            raise Refused(-224)
        self._source = known[word]

    async def _set_samples(self, arguments: list[str]) -> None:
        self._samples = int(parse_number(only(arguments), 1, 50_000))

    # ---------------------------------------------------------------- reading
    async def _take(self) -> None:
        self._readings = None
        taken = []
        for _ in range(self._samples):
            shown = await self.meter.convert()
            taken.append(OVERLOAD if shown.overload else shown.ohm)
        self._readings = taken

    async def _printed(self) -> str:
        if self._readings is None:
            raise Refused(-230)
        return ",".join(exponent(v) for v in self._readings)

    async def _read(self) -> str:
        if self._source == "BUS":
            raise Refused(-213)
        await self._take()
        return await self._printed()

    async def _initiate(self) -> None:
        if self._armed:
            raise Refused(-213)
        if self._source == "BUS":
            self._armed, self._readings = True, None
        else:
            await self._take()

    async def _bus_trigger(self) -> None:
        if not self._armed:
            raise Refused(-211)
        self._armed = False
        await self._take()

    def _measure(self, four_wire: bool) -> Answer:
        async def run(arguments: list[str]) -> str:
            self._apply_configuration(four_wire, arguments)
            await self._take()
            return await self._printed()

        return run
