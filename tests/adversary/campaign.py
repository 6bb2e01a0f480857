"""Many units at many benches, each with the real daemon, and what became of them."""

from __future__ import annotations

import random
import shutil
import tempfile
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

from tests.adversary.bench import ROOT, Bench
from tests.adversary.circuits import Sheet
from tests.adversary.hands import HABITS, Hands
from tests.adversary.instrument import Probes
from tests.adversary.plan import FAULTS, drift_sigmas, judge_truth, lot_for, planned
from tests.adversary.record import is_held

SHEETS = {
    "plover": ROOT / "configs" / "sheets" / "plover-80.toml",
    "quern": ROOT / "configs" / "sheets" / "quern-12.toml",
    "fathom": ROOT / "configs" / "sheets" / "fathom-7.toml",
    **{
        name.split("-")[0]: ROOT / "tests" / "adversary" / "sheets" / f"{name}.toml"
        for name in ("tarn-3-delta", "skerry-5-star", "corrie-9-motor", "linnet-2-pickup")
    },
}
PASSED, FAILED = ("pass", "conditional_pass"), ("fail", "conditional_fail")


@dataclass
class Fate:
    """What became of one unit.

    Attributes:
        truth: bad (tellable), good, or between.
        became: passed, failed, held, cannot_judge, unfinished.
        foreign: steps judged while the probes lay on another pair, though nobody had slipped.
        told: it was failed or held with an explanation that names what was planted, or a true circumstance.
    """

    sheet: str
    serial: str
    kind: str
    kelvin: float
    masked: bool
    truth: str
    became: str
    outcome: str | None
    told: bool
    lot: object
    habit: str
    where: tuple = ()
    best: tuple = ()
    drift_sigmas: float = 0.0
    unknown: tuple = ()
    foreign: tuple = ()

    @property
    def wrong(self):
        """Bad and passed, or good and failed, or judged from a touch of another pair."""
        return bool(self.foreign) or (self.truth, self.became) in {("bad", "passed"), ("good", "failed")}

    def line(self):
        """For the list of what went wrong."""
        where = ", ".join(f"{name} by {sigmas:.0f} sigma" for name, sigmas in self.where)
        off = f"thermometer {self.lot.celsius - self.lot.room_celsius:+.1f} K"
        zero = f"zero {self.lot.short_extra_ohm:+.3f} ohm"
        kind = f"{self.kind}{' masked' if self.masked else ''}"
        return (
            f"{self.truth:7} {self.became:12} {self.sheet:8} {self.serial:14} {kind}, "
            f"{self.kelvin:.1f} K warm (drift {self.drift_sigmas:.1f} sigma), {off}, {zero}, {self.habit}: "
            f"{where} {self.best}{f' foreign {self.foreign}' if self.foreign else ''}"
        )


@dataclass
class Tally:
    """All fates.

    Attributes:
        broken: what was said by lives that did not come to their end.
    """

    fates: list = field(default_factory=list)
    broken: list = field(default_factory=list)

    @property
    def wrong(self):
        """Those that must not be."""
        return [fate for fate in self.fates if fate.wrong]

    def table(self):
        """One line a sheet, and the sum."""
        heads = [
            "units",
            "bad",
            "bad passed",
            "bad failed",
            "bad held",
            "bad cannot judge",
            "good",
            "good failed",
            "good passed",
            "good held",
            "good cannot judge",
            "between",
            "unfinished",
            "foreign touch",
            "told why",
        ]
        lines = [f"{'sheet':10}" + "".join(f"{head:>{max(len(head), 5) + 2}}" for head in heads)]
        for name in [*dict.fromkeys(fate.sheet for fate in self.fates), "all"]:
            mine = [fate for fate in self.fates if name in ("all", fate.sheet)]
            both = Counter((fate.truth, fate.became) for fate in mine)
            bad, good = [[fate for fate in mine if fate.truth == truth] for truth in ("bad", "good")]
            stopped = [fate for fate in mine if fate.became in ("failed", "held")]
            row = [
                len(mine),
                len(bad),
                both["bad", "passed"],
                both["bad", "failed"],
                both["bad", "held"],
                both["bad", "cannot_judge"],
                len(good),
                both["good", "failed"],
                both["good", "passed"],
                both["good", "held"],
                both["good", "cannot_judge"],
                sum(f.truth == "between" for f in mine),
                sum(f.became == "unfinished" for f in mine),
                sum(bool(f.foreign) for f in mine),
                f"{sum(f.told for f in stopped)}/{len(stopped)}",
            ]
            lines.append(
                f"{name:10}"
                + "".join(f"{cell:>{max(len(head), 5) + 2}}" for head, cell in zip(heads, row, strict=True))
            )
        return "\n".join(lines)


def became(result):
    """One word of a result's codes."""
    if result is None:
        return "unfinished"
    outcome = result["outcome"]
    if outcome is None:
        return "held" if is_held(result) else "given up"
    return "passed" if outcome in PASSED else "failed" if outcome in FAILED else "cannot_judge"


def fate_of(name, plan, lot, habit, result, log, hands):
    """Compare what the daemon said with the truth."""
    judge_truth(plan, hands.bench.probes, lot.uncertainty_kelvin, log)
    foreign, misled = foreign_steps(hands.bench.journal, plan.unit.serial, log)
    truth = "between" if misled else "bad" if plan.bad else "between" if plan.near else "good"
    hypotheses = (result or {}).get("hypotheses") or []
    best = (hypotheses[0]["fault"], round(hypotheses[0]["probability"], 2)) if hypotheses else ()
    wanted = FAULTS.get(plan.kind, set()) | (FAULTS["warm"] if plan.unit.warmth.kelvin > 1 else set())
    rules = {
        balance["name"] for balance in (result or {}).get("balances") or () if balance["outcome"] in FAILED
    }
    told = bool(best and best[0] in wanted) or bool(rules & {where for where, _ in plan.bad})
    return Fate(
        name, plan.unit.serial, plan.kind, plan.unit.warmth.kelvin, plan.masked, truth, became(result),
        (result or {}).get("outcome"), told, lot, habit, tuple(plan.bad), best, drift_sigmas(plan.unit, log),
        tuple(hands.unknown), foreign,
    )  # fmt: skip


def foreign_steps(journal, serial, log):
    """Steps whose deciding reading, by its very bytes, was taken while the probes lay on another pair.

    Returns:
        Those where they lay there on purpose; and those where the hand had slipped, onto a pair that reads
        alike perhaps: nobody can tell then.
    """
    foreign, misled = [], []
    for entry in journal.entries("verdict", serial=serial):
        sent = bytes.fromhex((entry.evidence or {}).get("raw_hex") or "").decode("ascii", "replace").strip()
        on = [touch for touch in log if sent in touch["sent"]]
        pair = {entry.payload["pin_a"], entry.payload["pin_b"]}
        if on and not any(set(touch["on"]) == pair for touch in on):
            (misled if any(touch["slip"] for touch in on) else foreign).append(entry.payload["step"])
    return tuple(foreign), tuple(misled)


def one_life(
    name, seed, units, *, hurry=10.0, folder=None, habits=("obedient",), within_s=90.0, say=lambda _: None
):
    """One daemon, so many units; gives their fates."""
    lot, dice = lot_for(f"{seed} {name}"), random.Random(f"{seed} {name} units")
    sheet = Sheet.read(SHEETS[name])
    probes = Probes(lead_ohm=lot.lead_ohm, short_extra_ohm=lot.short_extra_ohm, emf_volt=lot.emf_volt)
    place = Path(folder or tempfile.mkdtemp(prefix="rig-"))
    fates = []
    with Bench(
        place,
        SHEETS[name],
        celsius=lot.celsius,
        uncertainty_kelvin=lot.uncertainty_kelvin,
        seed=f"{seed}",
        probes=probes,
    ) as bench:
        for number in range(units):
            habit = dice.choice(habits)
            hands = Hands(bench, f"{seed} {number}", HABITS[habit])
            plan = planned(
                sheet,
                f"{name[0].upper()}-{seed}-{number:02d}",
                dice,
                room_celsius=lot.room_celsius,
                hurry=hurry,
            )
            probes.log.clear()
            plan.unit.warmth.since_s = time.monotonic()
            result = hands.measure(plan.unit, within_s)
            log = [touch for touch in probes.log if isinstance(touch["on"], tuple)]
            fate = fate_of(name, plan, lot, habit, result, log, hands)
            fates.append(fate)
            say(fate)
            if result is None:
                bench.type(".end rig: no result")
                bench.until_asked("start_unit", within_s=10.0)
        code = bench.stop()
        assert code == 0, bench.output()[-2000:]
        assert "Traceback" not in bench.output(), bench.output()[-2000:]
    if folder is None:
        shutil.rmtree(place)
    return fates


def campaign(
    units, sheets, seed, *, per_life=10, side_by_side=2, hurry=10.0, habits=("obedient",), say=lambda _: None
):
    """So many units over these sheets; gives the tally."""
    tally, lives = Tally(), []
    for number in range(0, units, per_life):
        name = sheets[(number // per_life) % len(sheets)]
        lives.append((name, f"{seed}.{number // per_life}", min(per_life, units - number)))
    with ThreadPoolExecutor(side_by_side) as pool:
        done = [
            pool.submit(one_life, name, own, count, hurry=hurry, habits=habits, say=say)
            for name, own, count in lives
        ]
        for each in done:
            try:
                tally.fates += each.result()
            except AssertionError as error:  # what the other lives have shown is told all the same
                tally.broken.append(str(error))
    return tally
