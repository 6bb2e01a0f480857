"""One Modbus question and its answer over a channel; frames and checksums by pymodbus.

Not for what the registers mean. Modbus on a serial line numbers no questions: after one that got no answer
in time, the next answer is thrown away and the line drained, so that a late one is never taken for a later
one's.
"""

from __future__ import annotations

import asyncio
import contextlib
from typing import Literal

from pymodbus.exceptions import ModbusException
from pymodbus.framer import FramerBase, FramerRTU, FramerSocket
from pymodbus.pdu import DecodePDU, ExceptionResponse, ModbusPDU
from pymodbus.pdu.register_message import ReadHoldingRegistersRequest, ReadInputRegistersRequest

from drivers.errors import LinkTimeout, MeterRefused
from drivers.link.channel import Channel

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
