"""Tables of the diagnosis benchmark: what is printed, and how often a probability keeps its word."""

from __future__ import annotations

import math
from collections import Counter
from itertools import pairwise

from tests.benchmarks.diagnosis_scene import weight_of

CELLS = (0.0, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.97, 1.0)
ABOUT_NINETY = (0.85, 0.95)
GOAL = 0.95
"""Share of the units whose fault the readings can tell that must have it first."""


def percent(part, whole):
    """As text; a dash where there is nothing."""
    return f"{100 * part / whole:6.1f}" if whole else "     -"


def sheet(kind, rows, how, floor_s):
    """Everything about one sheet."""
    print(f"\n{kind.title}: {how}")
    _kinds(rows)
    _rivals(rows)
    _missed(rows)
    _probes(rows, floor_s)
    calibration(calls_of(kind, rows))


def _kinds(rows):
    print(
        f"{'fault':20}{'units':>7}{'failed':>8}{'held':>6}{'unjudged':>9}{'1st':>7}{'1st two':>8}"
        f"{'tellable':>9}{'1st of those':>13}{'told':>7}{'1st of those':>13}{'outside, passed':>16}"
        f"{'like a good one':>16}"
    )
    total = Counter()
    for name, tally, _ in rows:
        total.update(tally)
        told, asked = tally["explained"], tally["theory"]
        print(
            f"{name:20}{tally['units']:7}{tally['failed']:8}{tally['held']:6}{tally['not judged']:9}"
            f" {percent(tally['first'], told)}  {percent(tally['first two'], told)}"
            f"   {percent(tally['tellable'], asked)}       "
            f"{percent(tally['tellable first'], tally['tellable'])}"
            f" {percent(tally['told'], asked)}       {percent(tally['told first'], tally['told'])}"
            f"{tally['passed though outside']:16}{tally['of those, just like a good unit']:16}"
        )
    for what in ("tellable", "told"):
        share = percent(total[f"{what} first"], total[what])
        print(f"{what} units with the true fault first: {share} % of {total[what]}")


def _missed(rows):
    print("why faults that exact readings would tell were not first:")
    for name, tally, _ in rows:
        reasons = {k.removeprefix("missed: "): n for k, n in tally.items() if k.startswith("missed: ") and n}
        if reasons:
            below = "" if tally["tellable first"] >= GOAL * tally["tellable"] else " (below the goal)"
            text = "; ".join(f"{count} {reason}" for reason, count in reasons.items())
            print(f"  {name:20}of {tally['tellable']}: {text}{below}")


def _rivals(rows):
    print("what ohms cannot tell from it, by theory (share of the units that were explained):")
    for name, tally, _ in rows:
        shares = {
            key.removeprefix("rival "): count / tally["theory"]
            for key, count in tally.items()
            if key.startswith("rival ") and tally["theory"]
        }
        common = sorted(shares.items(), key=lambda each: -each[1])[:5]
        text = ", ".join(f"{rival} {100 * share:.0f} %" for rival, share in common if share >= 0.02)
        print(f"  {name:20}{text or '-'}")


def _probes(rows, floor_s):
    total = Counter()
    for _, tally, _ in rows:
        total.update(tally)
    healthy = next((tally for name, tally, _ in rows if name == "healthy"), Counter({"units": 1}))
    goals(rows)
    print(
        f"healthy units failed: {healthy['failed']} of {healthy['units']}, held {healthy['held']}, "
        f"contradiction told {healthy['contradiction told']} ({healthy['wrong']} wrong probes among them); "
        f"units without an end: {total['no end']} of {total['units']}"
    )
    apart = total["wrong"] - total["wrong_alike"] - total["wrong_on_faulty"]
    print(
        f"wrong probes that read otherwise: {apart}; hinted {percent(total['wrong_hinted'], apart)} %, "
        f"right pair named {percent(total['wrong_named'], apart)} %, "
        f"judged {percent(total['wrong_judged'], apart)} %; on look-alikes: {total['wrong_alike']}"
    )
    print(
        f"false hints: {total['false_hints']} of {total['right']} right touches; healthy units "
        f"{healthy['false_hints']} of {healthy['right']}"
    )
    print(f"verdicts replaced by the next pair's value, the lift-off unseen: {total['slid']}")
    print(
        f"healthy unit: {healthy['seconds'] / healthy['units']:.1f} s, floor {floor_s:.1f} s, "
        f"touches {healthy['touches'] / healthy['units']:.2f}"
    )


def goals(rows):
    """What must be nought."""
    total, healthy = Counter(), Counter()
    for name, tally, _ in rows:
        total.update(tally)
        if name == "healthy":
            healthy.update(tally)
    print(
        f"goals of 0: healthy units failed by a wrong probe {healthy['failed, with a wrong probe']}; faulty "
        f"units passed as a wrong probe {total['passed as a wrong probe']} (beyond a limit and passed at all "
        f"{total['passed though outside']}, of which {total['of those, just like a good unit']} read like a "
        f"good unit); high resistance called shorted turns {total['high called shorted']} (joints and warm "
        f"units with such a fault first, by a reading below nominal: "
        f"{total['joint or warmth called shorted'] - total['high called shorted']})"
    )


def progress(key, name, tally):
    """One line as a kind is done."""
    print(
        f"{key:10} {name:20}{tally['units']:6} units, explained {tally['explained']}, first "
        f"{percent(tally['first'], tally['explained'])} %, told {tally['told']}, first of those "
        f"{percent(tally['told first'], tally['told'])} %",
        flush=True,
    )


def calls_of(kind, rows):
    """(probability, right, weight) of every first explanation; kinds weighted by their prior."""
    return [
        (probability, hit, weight_of(name, kind) / tally["units"])
        for name, tally, own in rows
        for probability, hit, _ in own
    ]


def calibration(calls):
    """Of those called so sure, how many are right."""
    cells = [*pairwise(CELLS), ABOUT_NINETY]
    print("called      units   said   right   95 % interval")
    for low, high in cells:
        inside = [c for c in calls if low <= c[0] < high or c[0] == high == 1.0]
        if not inside:
            continue
        weight = sum(w for _, _, w in inside)
        right = sum(w for _, hit, w in inside if hit) / weight
        said = sum(p * w for p, _, w in inside) / weight
        below, above = interval(right, weight**2 / sum(w * w for _, _, w in inside))
        print(
            f"{100 * low:3.0f}-{100 * high:3.0f} %{len(inside):8}{100 * said:7.1f}{100 * right:8.1f}"
            f"   {100 * below:5.1f} to {100 * above:5.1f}{'' if below <= said <= above else '  off'}"
        )


def interval(share, count):
    """Wilson's 95 % interval of a share; `count` is the effective number where weights differ (Kish)."""
    z2 = 1.96**2
    centre = (share + z2 / (2 * count)) / (1 + z2 / count)
    half = math.sqrt(z2 * (share * (1 - share) / count + z2 / (4 * count**2))) / (1 + z2 / count)
    return centre - half, centre + half


def shift(key, order, tally, units):
    """One line a sheet and order."""
    healthy = max(tally["healthy"], 1)
    print(
        f"{key:10} {order:7} {tally['healthy failed']:3} of {tally['healthy']} healthy failed, "
        f"{tally['healthy held']} held; {tally['beyond, passed']:3} of {tally['beyond a limit']} beyond a "
        f"limit passed ({tally['like a good unit']} read like a good unit), {tally['beyond, held']} held; "
        f"{tally['not judged']} not judged; {tally['wrong']} wrong probes; "
        f"{tally['touches'] / units:5.2f} touches, {tally['seconds'] / units:5.1f} s a unit; healthy "
        f"{tally['healthy touches'] / healthy:5.2f}, {tally['healthy seconds'] / healthy:5.1f} s, "
        f"floor {tally['floor_s']:5.1f} s"
    )
