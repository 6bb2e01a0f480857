"""Sans-I/O: from 16-bit registers to numbers. Not for frames (`drivers.modbus.exchange`).

Sources: register size and big-endian bytes from the Modbus application protocol V1.1b3, 4.2; the four orders
of a 32-bit value are met in makers' register tables, the standard does not fix one. Floats are IEEE 754.
"""

from __future__ import annotations

import math
import struct
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from drivers.answers import NOT_A_NUMBER_AT, OVERLOAD_AT, among
from drivers.reading import Kind, Quantity

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
