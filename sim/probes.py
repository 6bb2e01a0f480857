"""Two probes on two pins, as the meter's terminals see them from moment to moment.

Bounce, film and pressure of the contact, the slow approach of a coil on iron, leads. Not for what the
operator decides (see `hands`) nor for the meter's own errors. The shapes are assumptions (common practice,
no source); their sizes can be set.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

from sim.winding import WoundUnit, wander


@dataclass(frozen=True, slots=True)
class ContactHabit:
    """How clean and steady this bench's contacts are.

    Attributes:
        lead_ohm: both test leads together, 2-wire.
        contact_ohm: lowest and highest final resistance of the two contacts together.
        pressure_ohm: lowest and highest rms of the wandering of a held contact.
        film_chance: how often a film breaks slowly; film_ohm, film_s: its size and time constant.
        creep_chance: how often a coil creeps to its value; creep: relative size; creep_s: time constant.
        bounces: most bounces of one touch.
        thermal_uv: standard deviation of the thermal voltage of a touch.
        thermal_uv_per_kelvin: the same for each kelvin of the unit above the air.
    """

    lead_ohm: float = 0.12
    contact_ohm: tuple[float, float] = (0.003, 0.012)
    pressure_ohm: tuple[float, float] = (0.0002, 0.001)
    film_chance: float = 0.35
    film_ohm: tuple[float, float] = (0.005, 0.3)
    film_s: tuple[float, float] = (0.1, 0.8)
    creep_chance: float = 0.35
    creep: tuple[float, float] = (0.005, 0.3)
    creep_s: tuple[float, float] = (0.05, 0.25)
    bounces: int = 3
    thermal_uv: float = 0.6
    thermal_uv_per_kelvin: float = 0.05


def log_uniform(dice: random.Random, limits: tuple[float, float]) -> float:
    """A number between two limits > 0, every decade alike."""
    return math.exp(dice.uniform(math.log(limits[0]), math.log(limits[1])))


NO_DECAY = (0.0, 1.0)


@dataclass(slots=True)
class Touch:
    """One touch of both probes; `pair` is None where the tips touch each other.

    Attributes:
        start_s, end_s: simulated seconds; end is infinite while held.
        lead_ohm, contact_ohm: in the reading in 2-wire, gone in 4-wire.
        decays: size and time constant in seconds; `film` in ohm, `creep` as a fraction of the unit's ohms.
        gaps: bounces, as start and end in simulated seconds.
        thermal_uv: voltage of the two contacts; its sign is that of the way the probes are held.
        thermal_uv_per_kelvin: the same for each kelvin of the unit above the air.
    """

    pair: tuple[str, str] | None
    start_s: float
    lead_ohm: float
    contact_ohm: float
    pressure_ohm: float
    film: tuple[float, float] = NO_DECAY
    creep: tuple[float, float] = NO_DECAY
    gaps: list[tuple[float, float]] = field(default_factory=list)
    end_s: float = math.inf
    label: str = ""
    thermal_uv: float = 0.0
    thermal_uv_per_kelvin: float = 0.0

    def is_on(self, t_s: float) -> bool:
        """Whether both tips have contact."""
        return self.start_s <= t_s < self.end_s and not any(a <= t_s < b for a, b in self.gaps)

    def seen_ohm(self, unit_ohm: float, t_s: float, *, four_wire: bool) -> float:
        """Ohms at the meter's terminals for a unit of `unit_ohm` between the two pins."""
        held_s = t_s - self.start_s
        ohm = unit_ohm * (1 + self.creep[0] * math.exp(-held_s / self.creep[1]))
        if four_wire:
            return ohm
        film = self.film[0] * math.exp(-held_s / self.film[1])
        return ohm + self.lead_ohm + self.contact_ohm + film + self.pressure_ohm * wander(t_s, self.label)


def new_touch(
    dice: random.Random, habit: ContactHabit, pair: tuple[str, str] | None, start_s: float
) -> Touch:
    """Throw the dice for one touch."""
    touch = Touch(
        pair,
        start_s,
        habit.lead_ohm,
        log_uniform(dice, habit.contact_ohm),
        log_uniform(dice, habit.pressure_ohm),
        label=f"{dice.random():.9f}",
    )

    def decay(chance: float, size: tuple[float, float], time_s: tuple[float, float]) -> tuple[float, float]:
        happens, drawn = dice.random() < chance, (log_uniform(dice, size), log_uniform(dice, time_s))
        return drawn if happens else NO_DECAY

    touch.film = decay(habit.film_chance, habit.film_ohm, habit.film_s)
    creep = decay(habit.creep_chance, habit.creep, habit.creep_s)
    touch.creep = NO_DECAY if pair is None else creep
    touch.thermal_uv = dice.gauss(0.0, habit.thermal_uv)
    touch.thermal_uv_per_kelvin = dice.gauss(0.0, habit.thermal_uv_per_kelvin)
    t_s = start_s
    for _ in range(dice.randint(0, habit.bounces)):
        begin_s = t_s + dice.uniform(0.005, 0.08)
        t_s = begin_s + dice.uniform(0.003, 0.05)
        touch.gaps.append((begin_s, t_s))
    return touch


class Probes:
    """The two probes over time, with the unit they touch and the air around it.

    Args:
        ambient: gives the air's temperature in °C at a simulated time.
    """

    SAMPLES = 7  # moments looked at within one integration of the meter

    def __init__(self, ambient: Ambient) -> None:
        self.ambient = ambient
        self.unit: WoundUnit | None = None
        self._touches: list[Touch] = []

    def place(self, unit: WoundUnit | None) -> None:
        """Put a unit on the bench, or take it away."""
        self.unit = unit

    def touch(self, touch: Touch) -> None:
        """Bring the probes down."""
        self._touches = [*self._touches[-3:], touch]

    def lift(self, t_s: float) -> None:
        """Take the probes up."""
        if self._touches:
            self._touches[-1].end_s = min(t_s, self._touches[-1].end_s)

    @property
    def held(self) -> Touch | None:
        """The touch that is not lifted yet."""
        last = self._touches[-1] if self._touches else None
        return last if last is not None and math.isinf(last.end_s) else None

    def ohm(self, t_s: float, *, four_wire: bool) -> float:
        """Ohms at the meter's terminals at one moment; infinite with the probes in the air."""
        for touch in reversed(self._touches):
            if touch.is_on(t_s):
                return touch.seen_ohm(self._unit_ohm(touch, t_s), t_s, four_wire=four_wire)
        return math.inf

    def _unit_ohm(self, touch: Touch, t_s: float) -> float:
        if touch.pair is None:
            return 0.0
        if self.unit is None:
            return math.inf
        return self.unit.ohm(*touch.pair, self.unit.celsius(self.ambient.celsius(t_s), t_s), t_s)

    def thermal_v(self, t_s: float) -> float:
        """Thermal voltage between the meter's terminals, volts: two contacts of two metals, not equally warm.

        Some microvolts (common practice, no source): 10 µV at 1 mA are 10 milliohms.
        """
        touch = self._touches[-1] if self._touches else None
        if touch is None or not touch.is_on(t_s):
            return 0.0
        excess_kelvin = 0.0
        if self.unit is not None and touch.pair is not None:
            air_celsius = self.ambient.celsius(t_s)
            excess_kelvin = self.unit.celsius(air_celsius, t_s) - air_celsius
        return 1e-6 * (touch.thermal_uv + touch.thermal_uv_per_kelvin * excess_kelvin)

    def integrate(self, start_s: float, end_s: float, *, four_wire: bool) -> tuple[float, float]:
        """Mean ohms over the closed part of an integration, and the open part's share of it (0 to 1)."""
        step_s = (end_s - start_s) / self.SAMPLES
        seen = [self.ohm(start_s + (k + 0.5) * step_s, four_wire=four_wire) for k in range(self.SAMPLES)]
        closed = [ohm for ohm in seen if math.isfinite(ohm)]
        return (sum(closed) / len(closed) if closed else math.inf), 1 - len(closed) / self.SAMPLES


class Ambient:
    """The air around the bench: 21 to 24 °C, wandering slowly.

    Args:
        dice: decides the mean and the phases.
        mean_celsius: sets the mean; drawn where None.
        stretched: so many times as slowly, where whoever measures lives in real time and the bench does not:
            to them it would change as quickly as a unit that cools.
    """

    def __init__(
        self, dice: random.Random, mean_celsius: float | None = None, *, stretched: float = 1.0
    ) -> None:
        drawn = dice.uniform(21.8, 23.4)
        self.mean_celsius = drawn if mean_celsius is None else mean_celsius
        periods_s = 700.0 * stretched, 2900.0 * stretched
        self._waves = [(dice.uniform(0.1, 0.3), period_s, dice.random()) for period_s in periods_s]

    def celsius(self, t_s: float) -> float:
        """Air temperature at a simulated time."""
        return self.mean_celsius + sum(a * math.sin(math.tau * (t_s / p + ph)) for a, p, ph in self._waves)
