"""A platinum resistance thermometer (Pt100, Pt1000) on any driver that reads ohms.

For the bench whose second ohmmeter watches a Pt100 beside the unit. Not for thermocouples
nor for meters that show degrees by themselves.

Source: IEC 60751:2022, clause 4.2: R(t) = R0 (1 + A t + B t^2) from 0 to 850 degC, and with the further term
C (t - 100 degC) t^3 from -200 to 0 degC.
"""

from __future__ import annotations

import math
from collections.abc import AsyncIterator
from dataclasses import replace
from types import TracebackType
from typing import Annotated, Any, ClassVar, Self

from pydantic import BaseModel, ConfigDict, Field

from drivers.errors import MeterRefused
from drivers.meter import Capabilities, ClockPair, Held, Identity, Setup, Unread
from drivers.reading import OHMS, Kind, Origin, Quantity, Reading
from drivers.registry import open_meter

A_PER_CELSIUS = 3.9083e-3
B_PER_CELSIUS2 = -5.775e-7
C_PER_CELSIUS4 = -4.183e-12
COLDEST_CELSIUS, HOTTEST_CELSIUS = -200.0, 850.0
"""IEC 60751:2022, 4.2."""
_EXPECTED_TIMES_R0 = 1.6  # at about 155 degC: no workshop's air is hotter


def platinum_ohm(celsius: float, r0_ohm: float = 100.0) -> float:
    """Resistance of a platinum sensor.

    Args:
        celsius: temperature, -200 to 850 degC.
        r0_ohm: resistance at 0 degC, > 0.
    """
    ratio = 1 + A_PER_CELSIUS * celsius + B_PER_CELSIUS2 * celsius**2
    if celsius < 0:
        ratio += C_PER_CELSIUS4 * (celsius - 100) * celsius**3
    return r0_ohm * ratio


def platinum_celsius(ohm: float, r0_ohm: float = 100.0) -> float:
    """Temperature of a platinum sensor; the inverse of `platinum_ohm`.

    Args:
        ohm: its resistance.
        r0_ohm: its resistance at 0 degC, > 0.

    Raises:
        ValueError: the resistance is that of no temperature from -200 to 850 degC.
    """
    low, high = platinum_ohm(COLDEST_CELSIUS, r0_ohm), platinum_ohm(HOTTEST_CELSIUS, r0_ohm)
    room = 1e-4 * r0_ohm  # the table's last digit, so that its own ends are inside
    if not low - room <= ohm <= high + room:
        raise ValueError(f"{ohm:g} Ω is no resistance of a sensor of {r0_ohm:g} Ω at 0 °C")
    ratio = ohm / r0_ohm
    root = math.sqrt(A_PER_CELSIUS**2 - 4 * B_PER_CELSIUS2 * (1 - ratio))
    celsius = (root - A_PER_CELSIUS) / (2 * B_PER_CELSIUS2)
    if celsius >= 0:
        return celsius
    for _ in range(8):  # Newton from the quadratic's root: three steps already give the last digit
        celsius -= (platinum_ohm(celsius, r0_ohm) - ohm) / slope_ohm_per_celsius(celsius, r0_ohm)
    return celsius


def slope_ohm_per_celsius(celsius: float, r0_ohm: float = 100.0) -> float:
    """How fast the resistance rises with temperature; the derivative of `platinum_ohm`."""
    slope = A_PER_CELSIUS + 2 * B_PER_CELSIUS2 * celsius
    if celsius < 0:
        slope += C_PER_CELSIUS4 * (4 * celsius**3 - 300 * celsius**2)
    return r0_ohm * slope


class PlatinumOptions(BaseModel):
    """The sensor and the ohmmeter that it hangs on.

    Attributes:
        r0_ohm: the sensor's resistance at 0 degC: 100 or 1000.
        lead_ohm: resistance of both leads together where the ohmmeter has two wires; taken off.
        wires: 2 or 4.
        driver: of the ohmmeter.
        meter: the ohmmeter's own options.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    r0_ohm: Annotated[float, Field(gt=0, le=10_000)] = 100.0
    lead_ohm: Annotated[float, Field(ge=0, le=100)] = 0.0
    wires: Annotated[int, Field(ge=2, le=4)] = 4
    driver: str = "scpi"
    meter: dict[str, Any] = {}


class PlatinumThermometer:
    """Fulfils `drivers.meter.Meter` for temperature. May be entered again after a broken link."""

    Options: ClassVar[type[PlatinumOptions]] = PlatinumOptions
    capabilities: Capabilities = Capabilities(
        frozenset({Quantity.TEMPERATURE}), settable=True, streaming=False, verification="standard"
    )

    def __init__(
        self, *, meter_id: str, address: str, clock: ClockPair, options: PlatinumOptions | None = None
    ) -> None:
        """Make a thermometer; opens nothing. Raises: as `drivers.registry.open_meter`."""
        self.meter_id = meter_id
        self._options = options or PlatinumOptions()
        self._address = address
        self._ohmmeter = open_meter(
            self._options.driver, meter_id=meter_id, address=address, clock=clock, options=self._options.meter
        )
        inner = self._ohmmeter.capabilities
        self.capabilities = replace(
            inner, quantities=frozenset({Quantity.TEMPERATURE}), verification=inner.verification
        )
        four = self._options.wires > 2 and Quantity.RESISTANCE_4W in inner.quantities
        quantity = Quantity.RESISTANCE_4W if four else Quantity.RESISTANCE
        self._setup = Setup(quantity, expected_si=_EXPECTED_TIMES_R0 * self._options.r0_ohm)

    @property
    def unread(self) -> Unread:
        """Who is told of bytes that give no reading."""
        return self._ohmmeter.unread

    @unread.setter
    def unread(self, told: Unread) -> None:
        self._ohmmeter.unread = told

    async def __aenter__(self) -> Self:
        """Open the link and set the ohmmeter to ohms. Raises: LinkUnavailable, MeterRefused."""
        await self._ohmmeter.__aenter__()
        try:
            await self._ohmmeter.configure(self._setup)
        except BaseException:
            await self._ohmmeter.__aexit__(None, None, None)
            raise
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the link."""
        await self._ohmmeter.__aexit__(kind, error, trace)

    async def identity(self) -> Identity:
        """Who the ohmmeter is."""
        return await self._ohmmeter.identity()

    async def configure(self, setup: Setup) -> Held:
        """Set the ohmmeter to ohms. Raises: MeterRefused: anything but temperature is wanted."""
        if setup.quantity is not Quantity.TEMPERATURE:
            raise MeterRefused(
                f"a platinum thermometer does not measure {setup.quantity.value}",
                port=self._address,
                hint="Give this step to another meter in the bench file.",
            )
        held = await self._ohmmeter.configure(self._setup)
        resolution = self._celsius_per_count(held.resolution_si, 20.0)
        return replace(
            held, quantity=Quantity.TEMPERATURE, range_full_scale_si=None, resolution_si=resolution
        )

    async def readings(self) -> AsyncIterator[Reading]:
        """Yield temperatures. Raises: as the ohmmeter's own `readings`."""
        async for reading in self._ohmmeter.readings():
            if reading.quantity in OHMS:
                yield self._temperature(reading)

    def _temperature(self, ohms: Reading) -> Reading:
        kind, celsius = ohms.kind, None
        if ohms.value_si is not None:
            try:
                celsius = platinum_celsius(ohms.value_si - self._options.lead_ohm, self._options.r0_ohm)
            except ValueError:  # a broken or shorted sensor has no temperature
                kind = Kind.NO_READING
        resolution = self._celsius_per_count(ohms.resolution_si, 0.0 if celsius is None else celsius)
        return replace(
            ohms,
            quantity=Quantity.TEMPERATURE,
            kind=kind,
            value_si=celsius,
            range_full_scale_si=None,
            resolution_si=resolution,
            range_origin=ohms.range_origin if resolution else Origin.UNKNOWN,
        )

    def _celsius_per_count(self, resolution_ohm: float | None, celsius: float) -> float | None:
        if resolution_ohm is None:
            return None
        return resolution_ohm / slope_ohm_per_celsius(celsius, self._options.r0_ohm)
