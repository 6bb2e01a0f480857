"""Limits of the settle stage and what a step may tell it. Not for limits of a winding: those are the sheet's.

Sources: the figures are workshop choices, tuned on simulated readings (`python -m tests.benchmarks.settle`);
no standard states when a hand-held reading is at rest.
"""

from __future__ import annotations

from dataclasses import dataclass

from drivers.reading import Quantity


@dataclass(frozen=True, slots=True)
class SettleSettings:
    """When a reading counts as at rest. Times are seconds, so that they hold at any reading rate.

    Attributes:
        band_counts: half-width of the band a settled value must keep, in counts of the range in use, > 0.
        band_relative: the same as a share of the value; the larger of the two applies. 0.002 is 0.2 %.
        span_s: shortest look at a contact before a report, > 0.
        min_conversions: fewest different conversions a report may rest on, at least 3.
        window_s: longest look back, > `span_s`.
        horizon_s: a drift must stay inside its share of the band for this long ahead.
        slow_horizon_s: the same where the step says that the winding is slow (large, inductive).
        slow_span_s: `span_s` for such a step.
        most_doubt: highest chance, by `acquire.settle.doubt`, that a report is off by more than the band.
        last_doubt: the same where the probes leave, or have lain for 20 s: a wider U is better than nothing.
        odd_span_s: `span_s` where the value is far from the rough size the step expects (a wrong pin?).
        share: share of the band that a drift over the horizon may use up, 0 to 1.
        slope_z: how many standard errors are added to a measured slope before it is compared.
        final_span_s: a report is final once the value has kept still for this long.
        rearm_share: a value that leaves the report by this share of the band is looked at afresh.
        block_s: conversions inside this time are averaged to one point.
        lift_off_s: overload for this long means that the probes have left.
        silence_s: no reading for this long means the same.
        bridge_s: an overload shorter than this does not break a contact.
        noise_counts: standard deviation in counts of a conversion (of the mean of `block_s` where that holds
            several), from the meter's file; None: learn it.
        longer_holds: whether the bench may ask for a longer hold, to learn from.
    """

    band_counts: float = 3.0
    band_relative: float = 0.002
    span_s: float = 0.8
    min_conversions: int = 4
    window_s: float = 12.0
    horizon_s: float = 1.6
    most_doubt: float = 0.02
    last_doubt: float = 0.2
    odd_span_s: float = 1.6
    slow_horizon_s: float = 6.0
    slow_span_s: float = 2.0
    share: float = 0.5
    slope_z: float = 1.0
    final_span_s: float = 2.4
    rearm_share: float = 0.75
    block_s: float = 0.08
    lift_off_s: float = 0.3
    silence_s: float = 3.0
    bridge_s: float = 0.3
    noise_counts: float | None = None
    longer_holds: bool = True

    def __post_init__(self) -> None:
        """Refuse limits that cannot be kept.

        Raises:
            ValueError: a limit out of its range; the message names it.
        """
        for name in (
            "band_counts",
            "span_s",
            "horizon_s",
            "slow_horizon_s",
            "block_s",
            "silence_s",
            "most_doubt",
            "last_doubt",
        ):
            if not getattr(self, name) > 0:
                raise ValueError(f"{name} must be more than 0, not {getattr(self, name)!r}")
        if self.min_conversions < 3:
            raise ValueError(f"min_conversions must be at least 3, not {self.min_conversions!r}")
        if self.window_s <= self.span_s:
            raise ValueError(f"window_s ({self.window_s!r}) must be more than span_s ({self.span_s!r})")
        if not 0 < self.share <= 1:
            raise ValueError(f"share must lie in 0 to 1, not {self.share!r}")
        if self.noise_counts is not None and not self.noise_counts > 0:
            raise ValueError(f"noise_counts must be more than 0, not {self.noise_counts!r}")


@dataclass(frozen=True, slots=True)
class Expectation:
    """What the present step knows. It may make the filter look longer; it never pulls the value.

    Attributes:
        slow_winding: large inductance or a closed core: the reading may creep for seconds.
        quantity: what the step measures; readings of another quantity are ignored. None: any.
        rough_si: size expected in the unit of `quantity`, from the sheet; None: unknown.
        close_enough_si: half-width of a band that is good enough for the step, whatever the display resolves;
            it widens the band to rest in, and never the value. 0: the settings' band alone.
    """

    slow_winding: bool = False
    quantity: Quantity | None = None
    rough_si: float | None = None
    close_enough_si: float = 0.0
