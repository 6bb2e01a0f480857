"""The sheet file that good units suggest: commented TOML with the open questions in it.

Not for finding the circuit (see learn). What ohms cannot tell stands as a question where it belongs, so that
the file can be used at once and be completed later.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from acquire.records import Pair
from acquire.steps.learn import Learnt, Structure

_LEAST_TOLERANCE = 0.01
"""No tolerance is proposed below this: repeatability and temperature alone come near it. Workshop choice."""

_MOST_TOLERANCE = 0.3
"""A tolerance above this says that the units were too few or not alike, and is left out."""


_GUESS = 'acceptance = "5 %"'
"""Stands where the units say nothing, so that the sheet can be used; common practice, no source."""


def sheet_text(name: str, found: Structure, *, units: int, core: str = "", celsius: float = 20.0) -> str:
    """Write a sheet.

    Args:
        name: of the unit type.
        found: from `learn`.
        units: how many good units it rests on.
        core: name of the core, "" when it was not touched.
        celsius: reference temperature of the readings.
    """
    rows = ", ".join(_quoted(pin) for pin in found.pins if pin != core)
    lines = [
        f"# {name}: proposed from {units} good unit(s). Questions are marked with ???.",
        *(f"# ??? {question}" for question in found.questions),
        "# ??? Wire colours, place of the pins in the connector: complete them where you know.",
        "",
        "[sheet]",
        f"name = {_quoted(name)}",
        f'about = "learnt from {units} good unit(s)"',
        f'reference_temperature = "{celsius:g} °C"',
        "",
        "[connector]",
        f"rows = [[{rows}]]   # ??? one list for each row, top row first",
    ]
    if core:
        lines.append(f"core = {_quoted(core)}")
    for pin, ohm in found.leads.items():
        if pin != core:
            lines += [
                "",
                "[[pin]]",
                f"name = {_quoted(pin)}",
                f'lead = "{_ohm(ohm)}"   # shared by its windings',
            ]
    for branch in found.branches:
        lines += ["", *_branch(branch)]
    lines += list(_isolation(found))
    for branch in found.branches:
        if branch.a in found.pins and branch.b in found.pins:
            lines += ["", *_step(f"{branch.a} to {branch.b}", Pair(branch.a, branch.b))]
    lines += list(_hidden_steps(found))
    for pair in found.sums:
        lines += ["", *_step(f"{pair.a} to {pair.b}, sum", pair)]
    return "\n".join(lines) + "\n"


def _branch(branch: Learnt) -> Iterator[str]:
    ends = f"between = [{_quoted(branch.a)}, {_quoted(branch.b)}]"
    if branch.strap:
        upper = max(3.0 * branch.mean_ohm, 0.01)
        yield "[[strap]]"
        yield f"name = {_quoted(f'strap {branch.a} {branch.b}')}"
        yield ends
        yield f'resistance = "{_ohm(max(branch.mean_ohm, 1e-4))}"'
        yield f'upper = "{_ohm(upper)}"   # ??? three times what was read'
        return
    yield "[[winding]]"
    yield f"name = {_quoted(f'winding {branch.a} {branch.b}')}   # ??? your own name for it"
    yield ends
    yield f'resistance = "{_ohm(branch.mean_ohm)}"'
    yield "# turns = ???   wire = ???   mean_turn = ???   material: copper is assumed"
    if branch.spread is None or branch.tolerance is None:
        yield f"{_GUESS}   # ??? a guess: one unit shows no spread"
        return
    tolerance = _rounded_up(max(branch.tolerance, _LEAST_TOLERANCE))
    if tolerance > _MOST_TOLERANCE:
        yield f"{_GUESS}   # ??? a guess: from so few units {100 * tolerance:.0f} % would follow"
    else:
        yield (
            f'acceptance = "{100 * tolerance:.1f} %"   # holds 95 % of units to come with 95 % confidence, '
            "from their spread"
        )
        yield f'# serviceable = "{200 * tolerance:.1f} %"   # ??? for units that come in'
    yield f'spread = "{100 * max(branch.spread, 0.001):.2f} %"'


def _isolation(found: Structure) -> Iterator[str]:
    """Islands must not touch; at what voltage and limit, ohms do not say."""
    if len(found.islands) < 2:
        return
    groups = ", ".join(f"[{', '.join(_quoted(pin) for pin in island)}]" for island in found.islands)
    yield ""
    yield "# [[isolation]]      # ??? these were open to each other; complete and take the signs # away"
    yield f"# groups = [{groups}]"
    yield '# at = "500 V"'
    yield '# at_least = "50 Mohm"'


def _step(name: str, pair: Pair) -> Iterator[str]:
    yield "[[step]]"
    yield f"name = {_quoted(name)}"
    yield f"pair = [{_quoted(pair.a)}, {_quoted(pair.b)}]"


def _hidden_steps(found: Structure) -> Iterator[str]:
    """A star whose middle cannot be touched is measured from pin to pin, all the way round."""
    middles: dict[str, list[str]] = {}
    for branch in found.branches:
        if branch.b not in found.pins:
            middles.setdefault(branch.b, []).append(branch.a)
    for u, v, w in middles.values():
        for pair in (Pair(u, v), Pair(v, w), Pair(u, w)):
            yield ""
            yield from _step(f"{pair.a} to {pair.b}", pair)


def _ohm(ohm: float) -> str:
    return f"{1000 * ohm:.4g} mohm" if ohm < 1.0 else f"{_digits(ohm)} ohm"


def _digits(ohm: float) -> str:
    """Five significant digits without an exponent."""
    return f"{ohm:.{max(0, 4 - math.floor(math.log10(ohm)))}f}"


def _rounded_up(fraction: float) -> float:
    return math.ceil(fraction * 1000.0 - 1e-9) / 1000.0


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
