"""Which units come, what is wrong with them, and what their readings can tell of it.

The oracle knows the truth. A fault counts as *tellable* where the true value lies beyond a limit by more
than three standard uncertainties of what the readings can tell: meter, contacts, leads (a zero that may be
off by 0.1 ohm), thermometer; and, of a unit that is warmer than the thermometer says by enough to hide it,
only where its own drift during the touches shows the warmth at three sigma.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

from tests.adversary.circuits import COPPER_K, Unit, Warmth, good_values

ALPHA = 1.0 / (COPPER_K + 20.0)
TELLABLE = 3.0
ZERO_U_OHM = 0.1 / math.sqrt(3.0)
CONTACT_U_OHM = 0.006 / math.sqrt(12.0)
GAIN_U, OFFSET_SHARE = 1e-4 / math.sqrt(3.0), {100.0: 4e-5 / math.sqrt(3.0)}
JOINT_LIMIT_OHM = 0.3
"""Issue 16's own example; what the sheet states takes its place once it can."""

FAULTS = {  # what the daemon may name each planted fault
    "joint": {"bad_joint"},
    "short": {"shorted_turns", "too_few_turns", "wire_too_thick"},
    "open": {"open_winding", "open_pin"},
    "all low": {"too_few_turns", "wire_too_thick", "warm", "shorted_turns"},
    "warm": {"warm"},
    "uneven": {"shorted_turns", "too_few_turns", "too_many_turns", "wire_too_thick"},
}


@dataclass
class Planned:
    """One unit with what it is and what it may become.

    Attributes:
        kind: good, joint, short, open, "all low", uneven; `masked`: warm by what hides the fault.
        bad: (where, sigmas beyond the limit); nearest: the largest of these, negative for a good unit.
    """

    unit: Unit
    kind: str
    masked: bool = False
    bad: list = field(default_factory=list)
    near: bool = False


def planned(sheet, serial, dice, *, room_celsius, hurry):
    """Draw one unit. `hurry`: so many times faster than in a workshop it cools."""
    values, joints, masked = good_values(sheet, dice), {}, False
    windings = sheet.windings
    kind = dice.choices(["good", "joint", "short", "all low", "uneven", "open"], [9, 4, 3, 2, 2, 1])[0]
    kelvin = dice.choice([0.0, 0.0, 0.0, dice.uniform(0.5, 10.0), dice.uniform(0.0, 40.0)])
    if kind == "uneven" and not sheet.rules:
        kind = "short"
    if kind == "joint":
        joints = {dice.choice(sheet.pins): 0.2 * 50.0 ** dice.random()}
    elif kind == "short":
        one = dice.choice(windings)
        values[one.name] = one.ohm * (1 - one.tolerance - dice.uniform(0.005, 0.08))
    elif kind == "all low":
        more = dice.uniform(0.005, 0.03)
        values |= {one.name: one.ohm * (1 - one.tolerance - more) for one in windings}
    elif kind == "open":
        values[dice.choice(windings).name] = math.inf
    elif kind == "uneven":
        _, _, names, limit = dice.choice(sheet.rules)
        off = limit * dice.uniform(1.3, 2.5)
        values[dice.choice(names)] *= 1 - off
    if kind in ("short", "all low") and dice.random() < 0.6:  # warm by what brings it inside again
        worst = min(values[one.name] / one.ohm / (1 - one.tolerance) for one in windings)
        kelvin, masked = (1 / worst - 1) / ALPHA + dice.uniform(1.0, 6.0), True
    warmth = Warmth(
        kelvin, dice.uniform(0.2, 0.6), dice.uniform(120, 480) / hurry, dice.uniform(1200, 4200) / hurry
    )
    return Planned(Unit(sheet, serial, values, joints, room_celsius, warmth, (kind,)), kind, masked)


def judge_truth(plan, probes, uncertainty_kelvin, log):
    """Fill in what is truly wrong with a unit and could be told from the touches it had."""
    unit, sheet = plan.unit, plan.unit.sheet
    since_s = log[0]["since_s"] if log else unit.warmth.since_s
    hidden_kelvin = unit.warmth.above_kelvin(since_s)
    seen_warm = drift_sigmas(unit, log) >= TELLABLE
    plan.bad, plan.near = [], False
    for name, pair, own in sheet.pairs:
        ohm = unit.reference_ohm(pair)
        lower, upper = sheet.limits(name, pair, own)
        if math.isinf(ohm):
            plan.bad.append((name, math.inf))
            continue
        u_ohm = _sigma(sheet, name, ohm, uncertainty_kelvin)
        for beyond, warmer in (
            (None if lower is None else lower - ohm, -1),
            (None if upper is None else ohm - upper, 1),
        ):
            if beyond is None or beyond < -TELLABLE * u_ohm:
                continue
            shown = beyond + warmer * ALPHA * hidden_kelvin * ohm
            if beyond > TELLABLE * u_ohm and (shown > TELLABLE * u_ohm or seen_warm):
                plan.bad.append((name, beyond / u_ohm))
            else:
                plan.near = True
    _rules(plan)
    _joints(plan, log)


def _sigma(sheet, name, ohm, uncertainty_kelvin):
    four_wire = sheet.four_wire[name]
    full = next(full for full in (100.0, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8) if full * 1.2 >= ohm)
    terms = [GAIN_U * ohm, OFFSET_SHARE.get(full, 1e-5 / math.sqrt(3)) * full]
    terms.append(ALPHA * uncertainty_kelvin / math.sqrt(3.0) * ohm)
    if not four_wire:
        terms += [ZERO_U_OHM, CONTACT_U_OHM]
    return math.hypot(*terms)


def _repeat_ohm(sheet, name, ohm):
    """What differs from one touch to the next."""
    noise = 6e-4 if ohm <= 120.0 else 3e-6 * 10 ** math.ceil(math.log10(ohm / 1.2))
    return math.hypot(noise / 2.0, 0.0 if sheet.four_wire[name] else CONTACT_U_OHM)


def _rules(plan):
    """Windings that must be alike."""
    unit, sheet = plan.unit, plan.unit.sheet
    for kind, name, windings, limit in sheet.rules:
        ohm = [unit.values[each] for each in windings]
        if any(math.isinf(each) for each in ohm):
            continue
        mean = sum(ohm) / len(ohm)
        off = max(abs(each - mean) for each in ohm) if kind == "balance" else abs(ohm[0] - ohm[1])
        step = sheet.pairs[0][0]
        u = (
            3.0
            * math.hypot(
                _repeat_ohm(sheet, step, mean), ZERO_U_OHM * limit if not sheet.four_wire[step] else 0.0
            )
            / mean
        )
        u = math.hypot(u, (4e-3 / math.sqrt(3) * limit / mean) if mean < 100 else 0.0)
        beyond = off / mean - limit
        if unit.joints and beyond < TELLABLE * u:
            plan.near = True  # the joint may or may not make them uneven; its own rule judges it
        elif beyond > TELLABLE * u:
            plan.bad.append((name, beyond / u))
        elif beyond > -TELLABLE * u:
            plan.near = True


def _joints(plan, log):
    """A joint that a closed relation of the circuit tells from everything else."""
    unit, sheet = plan.unit, plan.unit.sheet
    reach = sheet.joint_reach() if unit.joints else {}
    for pin, ohm in unit.joints.items():
        if pin not in reach:
            plan.near = plan.near or ohm > 0.1
            continue
        steps = [
            (name, unit.reference_ohm(pair), row)
            for (name, pair, _), row in zip(sheet.pairs, reach[pin], strict=True)
        ]
        if any(math.isinf(value) for _, value, _ in steps):
            continue
        own = math.hypot(*(row * _repeat_ohm(sheet, name, value) for name, value, row in steps))
        gain = math.hypot(*(row * GAIN_U * value for name, value, row in steps))
        zero = ZERO_U_OHM * abs(sum(row for name, _, row in steps if not sheet.four_wire[name]))
        drift = unit.warmth.above_kelvin(log[0]["since_s"]) if log else 0.0
        moved = (
            ALPHA * (drift - unit.warmth.above_kelvin(log[-1]["since_s"])) * max(v for _, v, _ in steps)
            if log
            else 0.0
        )
        u_ohm = math.hypot(own, gain, zero, moved)
        if ohm - JOINT_LIMIT_OHM > TELLABLE * u_ohm:
            plan.bad.append((f"joint {pin}", (ohm - JOINT_LIMIT_OHM) / u_ohm))
        elif ohm > 0.1:
            plan.near = True


def drift_sigmas(unit, log):
    """How clearly the touches show that the unit cools: by the pair touched twice, and inside each touch."""
    sheet, steps = unit.sheet, {frozenset(pair): name for name, pair, _ in unit.sheet.pairs}
    first, square = {}, 0.0
    for touch in log:
        pair = touch["on"]
        if not isinstance(pair, tuple) or frozenset(pair) not in steps or len(touch["readings"]) < 3:
            continue
        ohm = unit.reference_ohm(pair)
        if math.isinf(ohm):
            continue
        name, times = steps[frozenset(pair)], [at_s for at_s, _ in touch["readings"]]
        cooled = ALPHA * ohm * (unit.warmth.above_kelvin(times[0]) - unit.warmth.above_kelvin(times[-1]))
        noise = 6e-4 if ohm <= 120.0 else 3e-6 * 10 ** math.ceil(math.log10(ohm / 1.2))
        square += (cooled / (noise * math.sqrt(12.0 / len(times)))) ** 2
        if frozenset(pair) in first:
            before_s = first[frozenset(pair)]
            cooled = ALPHA * ohm * (unit.warmth.above_kelvin(before_s) - unit.warmth.above_kelvin(times[0]))
            square += (cooled / (math.sqrt(2) * _repeat_ohm(sheet, name, ohm))) ** 2
        else:
            first[frozenset(pair)] = times[0]
    return math.sqrt(square)


@dataclass(frozen=True)
class Lot:
    """Units for one life of one bench.

    Attributes:
        room_celsius: true; celsius: as the thermometer says; uncertainty_kelvin: limits of error that the
        bench
            file states, which hold.
        short_extra_ohm: what the lead zero is off by.
    """

    seed: str
    room_celsius: float
    celsius: float
    uncertainty_kelvin: float
    lead_ohm: float
    short_extra_ohm: float
    emf_volt: float


def lot_for(seed):
    """Draw the circumstances of one life."""
    dice = random.Random(f"{seed} lot")
    off = dice.choice([0.0, 0.0, dice.uniform(-1.0, 1.0), dice.uniform(-3.0, 3.0)])
    room = dice.uniform(19.0, 25.0)
    zero = dice.choice([0.0, 0.0, dice.uniform(-0.02, 0.02), dice.uniform(-0.1, 0.1)])
    stated = max(1.0, math.ceil(abs(off) * 10) / 10)
    return Lot(seed, room, room + off, stated, dice.uniform(0.1, 0.25), zero, dice.choice([0.0, 1e-6, -1e-6]))
