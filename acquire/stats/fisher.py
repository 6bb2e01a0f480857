"""The tail of Fisher's F, for analyses of variance. Not for the laws of a budget (`physics.laws`)."""

from __future__ import annotations

import math

from acquire.errors import InputImpossible, SteadyohmError


class LibraryMissing(SteadyohmError):
    """A library of the optional `reports` is not installed."""

    exit_code = 2


def fisher_tail(f: float, between: float, within: float) -> float:
    """Probability that a variance ratio is at least f where both estimate one variance.

    Args:
        f: ratio of mean squares, >= 0; infinite gives 0.
        between: degrees of freedom of the numerator, > 0.
        within: degrees of freedom of the denominator, > 0.

    Raises:
        InputImpossible: no such ratio or degrees of freedom.
        LibraryMissing: scipy is not installed.
    """
    if math.isnan(f) or f < 0.0 or not (between > 0.0 and within > 0.0):
        raise InputImpossible(
            f"A variance ratio of {f!r} with {between:g} and {within:g} degrees of freedom cannot be.",
            "Give more measurements.",
        )
    try:
        # Loaded late, as it costs a quarter of a second and is an optional package; it has no types.
        from scipy.special import fdtrc  # type: ignore[import-untyped]  # noqa: PLC0415
    except ImportError as missing:
        raise LibraryMissing(
            "This analysis needs scipy, which is not installed.",
            "Install it with: pip install 'steadyohm[reports]'.",
        ) from missing
    return float(fdtrc(between, within, f)) if math.isfinite(f) else 0.0
