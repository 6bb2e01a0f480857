"""How much the readings of one meter scatter: a figure from its file, made better by what it shows.

Not for drift: the scatter about a straight line is what is learnt here.
"""

from __future__ import annotations

from dataclasses import dataclass

from drivers.reading import Quantity

# A meter nobody described: half a count, or this share of full scale, whichever is more (simulated meters).
_GUESS_COUNTS = 0.5
_GUESS_OF_FULL_SCALE = 1.5e-5
_WEIGHT_OF_FILE = 4.0  # degrees of freedom granted to the figure of the meter's file
_WEIGHT_OF_GUESS = 3.0
_MOST_WEIGHT = 12.0  # what is learnt never weighs more: contacts differ
_RHO_FIRST = 0.3  # lag-1 autocorrelation of a typical averaging meter; simulated readings
_RHO_WEIGHT = 8.0
_RHO_MOST = 0.85


@dataclass(slots=True)
class RangeNoise:
    """Scatter in one range, a scaled inverse chi-squared belief, and its lag-1 correlation."""

    variance: float
    weight: float
    rho: float = _RHO_FIRST

    @property
    def inflation(self) -> float:
        """Factor on the variance of a mean for lag-1 correlation, (1 + rho) / (1 - rho), large-n form."""
        return (1.0 + self.rho) / (1.0 - self.rho)


class Noise:
    """The scatter of one meter in each of its ranges, in counts."""

    __slots__ = ("_known", "_ranges")

    def __init__(self, known_counts: float | None) -> None:
        self._known = known_counts
        self._ranges: dict[tuple[Quantity, float | None], RangeNoise] = {}

    def of(self, quantity: Quantity, full_scale_si: float | None, count_si: float) -> RangeNoise:
        """The present belief for a quantity and range; made on first use."""
        key = (quantity, full_scale_si)
        found = self._ranges.get(key)
        if found is None:
            if self._known is not None:
                found = RangeNoise(self._known**2, _WEIGHT_OF_FILE)
            else:
                guess = max(_GUESS_COUNTS, _GUESS_OF_FULL_SCALE * (full_scale_si or 0.0) / count_si)
                found = RangeNoise(guess**2, _WEIGHT_OF_GUESS)
            self._ranges[key] = found
        return found


def learn(noise: RangeNoise, count: int, squares: float, lag: float, *, scatter: bool) -> None:
    """Take in what a straight line left of one settled stretch.

    Args:
        noise: belief to change.
        count: points.
        squares: sum of the squared residuals, counts squared.
        lag: their lag-1 autocorrelation.
        scatter: whether the variance may be learnt too; False where the meter's file gave it.
    """
    if count < 6 or squares <= 0:
        return
    # 1.5/n: a straight line taken out biases the lag-1 estimate low by about that much (simulated).
    lag += 1.5 / count
    mixed = (noise.rho * _RHO_WEIGHT + lag * count / 4) / (_RHO_WEIGHT + count / 4)
    noise.rho = min(max(mixed, 0.0), _RHO_MOST)
    if scatter:
        gained = (count - 2) / 2
        variance = squares / (count - 2)
        noise.variance = (noise.variance * noise.weight + variance * gained) / (noise.weight + gained)
        noise.weight = min(noise.weight + gained, _MOST_WEIGHT)
