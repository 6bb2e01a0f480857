"""Units with whole visits to an invented bench, on a journal of their own. Not a test itself."""

import asyncio
import shutil
import tempfile
from dataclasses import replace
from pathlib import Path

from acquire.clock import HandClock
from acquire.journal.store import Journal
from acquire.records import (
    Code,
    Evidence,
    LeadZero,
    Notice,
    Outcome,
    Pair,
    Purpose,
    Severity,
    Untested,
    UntestedKind,
)
from tests.known_records import CHECK, EVIDENCE, NOON_S, RESULT, STARTED, TYPED, ZERO, verdict
from tests.memory_disk import SHARED_MEMORY

SERIAL = "PL80-0007"
WINDINGS = {
    "slow charge": ("1", "2", 202.5669),
    "fast charge": ("2", "3", 46.1673),
    "trigger": ("4", "6", 83.1866),
}
DAY_S = 86_400.0


def journal_with(folder, records):
    """A closed journal that holds these records, each alone or with its evidence.

    Written where syncing costs nothing, then copied: these tests ask, they do not test durability.
    """

    async def write(where):
        journal = Journal.open(where, bench="bench-1", clock=HandClock())
        await journal.append([each if isinstance(each, tuple) else (each, None) for each in records])
        await journal.close()

    if (folder / "journal.db").exists() or not SHARED_MEMORY.is_dir():
        asyncio.run(write(folder))
        return folder
    with tempfile.TemporaryDirectory(dir=SHARED_MEMORY) as scratch:
        asyncio.run(write(Path(scratch)))
        folder.mkdir(parents=True, exist_ok=True)
        shutil.copy(Path(scratch) / "journal.db", folder)
    return folder


INSULATION = Untested(
    UntestedKind.ISOLATION, "isolation:1,2,3|CORE,4,5,6", "insulation 1,2,3 to CORE,4,5,6", 500.0
)
TURNS = Untested(UntestedKind.TURNS, "turns", "faults between turns")
"""What a Plover leaves untested by ohms."""


def trace_of(ohm, n=30):
    """A reading that creeps to rest."""
    return tuple((0.1 + 0.05 * i, ohm * (1.0 + 0.002 * 0.8**i)) for i in range(n))


def visit(serial=SERIAL, *, utc_s=NOON_S, purpose=Purpose.FINAL, factors=None, outcome=Outcome.PASS, **also):
    """The records of one whole visit.

    Args:
        factors: by step, how much of its nominal each winding has.
        also: fields of the verdicts, the start and the result that differ from the known ones.
    """
    known = {"serial": serial, "purpose": purpose, "bench": "bench-1", "batch": also.get("batch", "lot 7")}
    started = replace(STARTED, utc_s=utc_s, **known)
    records = [started]
    for number, (step, (a, b, nominal)) in enumerate(WINDINGS.items(), start=1):
        ohm = nominal * (factors or {}).get(step, 1.0)
        at_s = utc_s + 5.0 * number
        judged = verdict(
            7,
            **known,
            step=step,
            pin_a=a,
            pin_b=b,
            reference_ohm=ohm,
            nominal_ohm=nominal,
            lower_ohm=0.94 * nominal,
            upper_ohm=1.06 * nominal,
            raw_ohm=ohm * 1.025 + 0.3125,
            expanded_ohm=0.002 * ohm,
            standard_uncertainty_ohm=0.001 * ohm,
            utc_s=at_s,
            **{"meter_id": "meter", **{key: value for key, value in also.items() if key != "batch"}},
        )
        kept = replace(
            EVIDENCE,
            trace=trace_of(judged.raw_ohm),
            temperature_source="thermometer",
            temperature_utc_s=at_s - 1.0,
            lead_zero_utc_s=utc_s - 600.0,
        )
        records.append((judged, kept))
    result = replace(
        RESULT,
        **known,
        outcome=outcome,
        hypotheses=RESULT.hypotheses if outcome is Outcome.FAIL else (),
        next_pair=None,
        started_utc_s=utc_s,
        utc_s=utc_s + 40.0,
        measured=outcome,
        untested=(INSULATION, TURNS),
    )
    return [*records, result]


def shop_day():
    """A check, a lead zero, a unit whose second step was asked for twice, a remark, a result typed in."""
    records = visit()
    start, first, second, third, result = records
    refused = (
        replace(second[0], counts=False, outcome=Outcome.FAIL, reference_ohm=40.0, utc_s=NOON_S + 8.0),
        None,
    )
    note = Notice(Severity.INFO, Code.NOTE, NOON_S + 12.0, SERIAL, facts={"note": "plug re-crimped"})
    wrong = Notice(
        Severity.WARNING,
        Code.PAIR_OTHER,
        NOON_S + 7.0,
        SERIAL,
        Pair("1", "3"),
        facts={"said": "That reads like 1–3."},
    )
    zero = replace(ZERO, bench="bench-1", meter_id="meter", utc_s=NOON_S - 600.0)
    check = replace(CHECK, utc_s=NOON_S - 700.0)
    typed = replace(TYPED, serial=SERIAL, bench="bench-1", utc_s=NOON_S + 35.0)
    return [check, zero, start, first, refused, wrong, second, note, third, typed, result]


def moved_zero(utc_s=NOON_S + 3600.0):
    """A later lead zero that makes the low ohms since the earlier one doubtful."""
    return LeadZero("bench-1", "meter", 0.62, 0.002, utc_s, NOON_S - 600.0)


__all__ = ["DAY_S", "SERIAL", "Evidence", "journal_with", "moved_zero", "shop_day", "visit"]
