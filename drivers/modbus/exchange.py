"""One Modbus question and its answer over a channel, and numbers from 16-bit registers; frames by pymodbus.

Modbus on a serial line numbers no questions: after one that got no answer in time, the next answer is thrown
away and the line drained, so that a late one is never taken for a later one's. Not for what registers mean.

Sources: register size and big-endian bytes from the Modbus application protocol V1.1b3, 4.2; the four orders
of a 32-bit value are met in makers' register tables, the standard does not fix one. Floats are IEEE 754.
"""

from __future__ import annotations

import asyncio
import contextlib
import math
import struct
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field
from pymodbus.exceptions import ModbusException
from pymodbus.framer import FramerBase, FramerRTU, FramerSocket
from pymodbus.pdu import DecodePDU, ExceptionResponse, ModbusPDU
from pymodbus.pdu.register_message import ReadHoldingRegistersRequest, ReadInputRegistersRequest

from drivers.answers import NOT_A_NUMBER_AT, OVERLOAD_AT, among
from drivers.errors import LinkTimeout, MeterRefused
from drivers.frame import Decoded
from drivers.link.channel import Channel
from drivers.reading import Kind, Origin, Quantity

Order = Literal["ABCD", "CDAB", "BADC", "DCBA"]
Form = Literal["float32", "u16", "s16", "u32", "s32"]
_STRUCT = {"float32": ">f", "u16": ">H", "s16": ">h", "u32": ">I", "s32": ">i"}


class RegisterChannel(BaseModel):
    """One quantity of an instrument and the registers it stands in.

    Attributes:
        quantity: what it is.
        unit_id: address of the instrument on the line, 1 to 247 (0 or 255 is met on TCP).
        table: "holding" (function 03) or "input" (04).
        address: first register, counted from 0 as on the wire.
        form: how the number is coded.
        order: of the bytes of a 32-bit number, A being the most significant.
        scale: what the number is multiplied with to give the SI unit, e.g. 1e6 for megohms.
        offset: what is added after that, in the SI unit.
        overload_values: coded numbers that mean "beyond range" (65535, 32767 ...). Infinity always does.
        no_reading_values: coded numbers that mean "nothing measured". NaN always does.
        resolution_si: worth of one count, SI unit; None for unknown (taken from `scale` for whole numbers).
        full_scale_si: of the instrument's range, SI unit; None for unknown.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    quantity: Quantity
    unit_id: Annotated[int, Field(ge=0, le=255)] = 1
    table: Literal["holding", "input"] = "holding"
    address: Annotated[int, Field(ge=0, le=65535)]
    form: Form = "float32"
    order: Order = "ABCD"
    scale: float = 1.0
    offset: float = 0.0
    overload_values: tuple[float, ...] = ()
    no_reading_values: tuple[float, ...] = ()
    resolution_si: Annotated[float, Field(gt=0)] | None = None
    full_scale_si: Annotated[float, Field(gt=0)] | None = None

    @property
    def count(self) -> int:
        """How many registers it takes."""
        return struct.calcsize(_STRUCT[self.form]) // 2

    @property
    def worth_si(self) -> float | None:
        """Worth of one count: as given, or the scale of a whole number."""
        return self.resolution_si or (None if self.form == "float32" else abs(self.scale))

    @property
    def origin(self) -> Origin:
        """Where range and count are known from."""
        known = self.full_scale_si is not None or self.worth_si is not None
        return Origin.INFERRED if known else Origin.UNKNOWN


def number_of(registers: list[int], form: Form, order: Order) -> float:
    """Decode registers.

    Raises:
        ValueError: too few or too many for the form.
    """
    data = b"".join(register.to_bytes(2, "big") for register in registers)
    if len(data) != struct.calcsize(_STRUCT[form]):
        raise ValueError(f"{len(registers)} registers do not make a {form}")
    if len(data) == 4:
        data = bytes(data[order.index(letter)] for letter in "ABCD")
    number: float = struct.unpack(_STRUCT[form], data)[0]
    return number


def decoded_of(channel: RegisterChannel, registers: list[int]) -> Decoded:
    """What stands in a channel's registers. Raises: ValueError."""
    kind, value_si = value_of(channel, registers)
    return Decoded(channel.quantity, kind, value_si, channel.worth_si, channel.full_scale_si, channel.origin)


def value_of(channel: RegisterChannel, registers: list[int]) -> tuple[Kind, float | None]:
    """Kind and SI value of what stands in a channel's registers. Raises: ValueError."""
    number = number_of(registers, channel.form, channel.order)
    if math.isnan(number) or among(number, channel.no_reading_values):
        return Kind.NO_READING, None
    over = OVERLOAD_AT <= abs(number) < NOT_A_NUMBER_AT
    if among(number, channel.overload_values) or math.isinf(number) or over:
        return (Kind.NEGATIVE_OVERLOAD if number < 0 else Kind.OVERLOAD), None
    if abs(number) >= NOT_A_NUMBER_AT:
        return Kind.NO_READING, None
    return Kind.VALUE, number * channel.scale + channel.offset


Framing = Literal["rtu", "tcp"]
QUIET_S = 0.05
"""More than 3.5 characters of silence at 1200 baud (Modbus over serial line V1.02, 2.5.1.1)."""
EXCEPTION_WORDS = {
    1: "it does not know this function",
    2: "it has no register of this address",
    3: "it cannot take this value",
    4: "it failed to do so",
    5: "it needs more time",
    6: "it is busy",
    10: "the gateway has no path to it",
    11: "it did not answer the gateway",
}
"""Modbus application protocol V1.1b3, clause 7."""
_LONGEST_BYTES = 260 + 7


class Exchange:
    """Questions to instruments on one channel, one at a time."""

    def __init__(self, channel: Channel, framing: Framing, reply_timeout_s: float) -> None:
        self._channel = channel
        self._framing = framing
        self._reply_timeout_s = reply_timeout_s
        self._transaction = 0
        self._dirty = False

    def reset(self) -> None:
        """Forget the past, after the channel was opened anew."""
        self._dirty = False

    async def read(self, table: str, unit_id: int, address: int, count: int) -> tuple[list[int], bytes]:
        """Read registers; give them and the raw answer.

        Raises:
            LinkTimeout: no sound answer in time.
            MeterRefused: the instrument answered with an exception.
            LinkLost: the link broke.
        """
        kind = ReadHoldingRegistersRequest if table == "holding" else ReadInputRegistersRequest
        answer, raw = await self._ask(kind(address=address, count=count, dev_id=unit_id))
        if len(answer.registers) != count:
            self._dirty = True
            raise LinkTimeout(
                f"asked for {count} registers and got {len(answer.registers)}",
                port=self._channel.address,
                raw=raw,
            )
        return list(answer.registers), raw

    async def _ask(self, request: ModbusPDU) -> tuple[ModbusPDU, bytes]:
        if self._dirty:
            await self._channel.drain(QUIET_S)
            await self._throw_one_away(request)
        self._dirty = True
        answer, raw = await self._exchange(request)
        self._dirty = False
        if isinstance(answer, ExceptionResponse):
            words = EXCEPTION_WORDS.get(answer.exception_code, "of unknown meaning")
            raise MeterRefused(
                f"the instrument answered exception {answer.exception_code}: {words}",
                port=self._channel.address,
                hint="Check unit id, table and register address against its manual.",
                raw=raw,
            )
        return answer, raw

    async def _throw_one_away(self, request: ModbusPDU) -> None:
        with contextlib.suppress(LinkTimeout):
            await self._exchange(request)
        await self._channel.drain(QUIET_S)

    async def _exchange(self, request: ModbusPDU) -> tuple[ModbusPDU, bytes]:
        framer = self._framer()
        self._transaction = self._transaction % 0xFFFF + 1
        request.transaction_id = self._transaction
        await self._channel.write(framer.buildFrame(request), self._reply_timeout_s)
        wanted_id = self._transaction if self._framing == "tcp" else 0
        loop = asyncio.get_running_loop()
        until_s = loop.time() + self._reply_timeout_s
        data = b""
        while len(data) <= _LONGEST_BYTES:
            data += await self._channel.read_some(max(until_s - loop.time(), 0.001))
            try:
                used, answer = framer.handleFrame(data, request.dev_id, wanted_id)
            except (ModbusException, ValueError, IndexError) as error:
                raise LinkTimeout("its answer is garbled", port=self._channel.address, raw=data) from error
            if answer is not None:
                if answer.function_code & 0x7F != request.function_code:
                    raise LinkTimeout("it answered another question", port=self._channel.address, raw=data)
                return answer, data[:used]
            data = data[used:]
        raise LinkTimeout("its answer does not end", port=self._channel.address, raw=data)

    def _framer(self) -> FramerBase:
        decoder = DecodePDU(False)  # noqa: FBT003 - pymodbus's own call: False stands for the asking side
        return FramerRTU(decoder) if self._framing == "rtu" else FramerSocket(decoder)


def registers_of_frame(frame: bytes) -> list[int]:
    """Take the registers out of one whole answer of Modbus RTU.

    Raises:
        ValueError: it is none, its checksum is wrong, or it is an exception; says which.
    """
    try:
        _, answer = FramerRTU(DecodePDU(False)).handleFrame(frame, 0, 0)  # noqa: FBT003 - as above
    except (ModbusException, ValueError, IndexError) as error:
        raise ValueError("not an answer of Modbus RTU") from error
    if answer is None:
        raise ValueError("length or CRC")
    if isinstance(answer, ExceptionResponse):
        words = EXCEPTION_WORDS.get(answer.exception_code, "of unknown meaning")
        raise ValueError(f"exception {answer.exception_code}: {words}")  # noqa: TRY004 - the answer's fault
    return list(answer.registers)
