"""Entries of earlier programs brought up to today's records as they are read; what is stored stays as it is.

Names of version 1 (before December 2026) are replaced in the JSON itself, before anything reads it:
`in_todays_names`. Until November 2026 a record also said in English what it says in codes now: `upgraded` is
the only place that reads such sentences back, and it reads none that today's program writes. Not for the
tables of the file (schema).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any, AnyStr

from acquire.journal.plain import KINDS
from acquire.records import Basis, Ending, FindingKind, Fit, ResultKind, TypedWhy, UntestedKind
from acquire.records.codes import WARM_CHECK
from acquire.unit_result import shows_turns

Plain = dict[str, Any]

RENAMED = {
    "conformity": "conformance_probability",
    "sort": "result_kind",
    "weight": "severity",
}
"""Fields of version 1 by the names that they have now; no field of any entry was called by one of these."""

RESPELT = {
    '"weight":"remark"': '"severity":"info"',
    '"ending":"given_up"': '"ending":"early"',
    '"code":"journal.set_aside"': '"code":"journal.quarantined"',
}
"""Values of version 1, each with its field; replaced first."""

_TEXTS = RESPELT | {f'"{old}":': f'"{new}":' for old, new in RENAMED.items()}
_BYTES = {old.encode(): new.encode() for old, new in _TEXTS.items()}
_OF_A_VERDICT = '"conformity":'


def in_todays_names(text: AnyStr, kind: str = "") -> AnyStr:
    """JSON of an entry, or of several, with the names of version 1 replaced; itself where it has none.

    Exact, for inside a JSON string a backslash stands before each quote. Values are found only where no space
    stands behind the colon: as this program has always spelt them.

    Args:
        text: as it was stored or sent.
        kind: of the entry, if it is known: a verdict, of which there are most, holds one of the names only.
    """
    if isinstance(text, bytes):
        for old, new in _BYTES.items():
            text = text.replace(old, new)
        return text
    for old in (_OF_A_VERDICT,) if kind == "verdict" else _TEXTS:
        text = text.replace(old, _TEXTS[old])
    return text


GIVEN_UP = "given up: "
NEXT_UNIT = "given up: the next unit was started"
TURNS = "not tested: faults between turns, which a pass in ohms does not exclude"

_MISSING = re.compile(r"not tested: (?P<name>.*?)(?: at (?P<volts>[0-9.e+-]+) V)?")
_ODD = re.compile(
    r"(?P<a>.+?)–(?P<b>.+?) reads (?P<ohm>.+?), but the other readings foretell (?P<foretold>.+?)"
    r" ± (?P<reach>.+?): was each pair the one asked for\?"
)
_SHOWN = re.compile(r"(?P<number>[0-9.e+-]+) ?(?P<size>[TGMkmµn]?)(?:Ω|H|)")
_SIZES = {"T": 1e12, "G": 1e9, "M": 1e6, "k": 1e3, "": 1.0, "m": 1e-3, "µ": 1e-6, "n": 1e-9}
_PAIR = r"[^\s,–:]+–[^\s,–:]+"
_PAIRS = rf"(?P<pairs>{_PAIR}(?:(?:, | or ){_PAIR})*)(?:, [^:]+)?"
_LIKE = re.compile(rf"That reads like {_PAIRS}: move to .+")
_MAY_BE = re.compile(rf".+? may be {_PAIR} gone wrong or {_PAIRS}: make sure of .+")
_WIDTHS = re.compile(r"U = (?P<reach>[^,;]+), guard band (?P<band>[^,;]+?)\.?$")
_MOVED = re.compile(r"moved by (?P<moved>[-+0-9.]+) % during the test, (?P<moved_allowed>[0-9.]+) % allowed")
_VOLTS = re.compile(r"measured at .+? V only, (?P<asked>[0-9.e+-]+) V are asked for\.")
_AGAIN = re.compile(r"(?P<step>.+?) (?:has moved under the probes: it )?is measured again\.")
_LEFT_OUT = re.compile(r"(?P<step>.+?) was left out: (?P<reason>.*)", re.DOTALL)

WITNESSES = {
    "with the probes confirmed to be on the pins": Basis.OPEN_BY_KEY,
    "with the clips confirmed to be on the pins": Basis.OPEN_BY_CLIP,
    "between touches of two known continuities": Basis.OPEN_BRACKETED,
}
"""How the reason of an open pair ended, and what it rested on."""


def upgraded(kind: str, payload: Plain) -> Plain:
    """A payload as today's program would have written it; itself where it did.

    Args:
        kind: of the entry.
        payload: as it is stored, or was sent; not changed. What is no record of its kind comes back as it is.
    """
    step = STEPS.get(kind)
    if step is None or step[0] in payload:
        return payload
    try:
        known = FIELDS[kind]
        return {name: value for name, value in payload.items() if name in known} | step[1](payload)
    except (KeyError, TypeError, ValueError, AttributeError):  # damaged: whoever reads it says so
        return payload


def sign_of_today(kind: str) -> bytes:
    """What a payload's JSON, as today's program spells it, holds; without it it may want bringing up."""
    return f'"{STEPS[kind][0]}":'.encode() if kind in STEPS else b""


def _unit_result(old: Plain) -> Plain:
    held, outcome = old["held"], old["outcome"]
    ending, remark = Ending.DONE, ""
    if held == NEXT_UNIT:
        ending = Ending.NEXT_UNIT
    elif held.startswith(GIVEN_UP):
        ending, remark = Ending.EARLY, held.removeprefix(GIVEN_UP)
    elif held:
        ending = Ending.WARM
    return {
        "ending": ending.value,
        "remark": remark,
        "measured": outcome,  # never better than what it says: what was typed in before it stays counted
        "found": list(_found(old)),
        "hypotheses": [
            {"fault": each["fault"], "probability": each["probability"], "said": each["sentence"]}
            for each in old["hypotheses"]
        ],
        "untested": [_untested(text) for text in old.get("not_tested", ())],
    }


def _found(old: Plain) -> Iterator[Plain]:
    """Findings of an old result: rules by their names, the rest by how their sentences are built."""
    uneven = [rule for rule in old.get("balances", ()) if rule["outcome"] != "pass"]
    yield from (_finding(FindingKind.UNEVEN, rule["name"], outcome=rule["outcome"]) for rule in uneven)
    for text in old.get("findings", ())[len(uneven) :]:
        if odd := _ODD.fullmatch(text):
            yield _finding(
                FindingKind.CONTRADICTION,
                pair=[odd["a"], odd["b"]],
                ohm=_si(odd["ohm"]),
                predicted_ohm=_si(odd["foretold"]),
                u_ohm=_si(odd["reach"]) / 2.0,
            )
        else:
            name = text.partition(": ")[0]
            yield _finding(FindingKind.TYPED, name, id=_target(name))


def _finding(kind: FindingKind, name: str = "", **more: Any) -> Plain:
    blank = {"id": "", "outcome": None, "pair": None, "ohm": None, "predicted_ohm": None, "u_ohm": None}
    return {"kind": kind.value, "name": name, **blank, **more}


def _si(text: str) -> float:
    found = _SHOWN.fullmatch(text)
    if found is None:
        raise ValueError(f"{text} is no value")
    return float(found["number"]) * _SIZES[found["size"]]


def _untested(text: str) -> Plain:
    if text == TURNS:
        return {
            "kind": UntestedKind.TURNS.value,
            "id": "turns",
            "name": "faults between turns",
            "volts": None,
        }
    found = _MISSING.fullmatch(text)
    if found is None:
        raise ValueError(f"{text!r} names nothing")
    target = _target(found["name"])
    kind = UntestedKind.ISOLATION if target.startswith("isolation:") else UntestedKind.STEP
    volts = None if found["volts"] is None else float(found["volts"])
    return {"kind": kind.value, "id": target, "name": found["name"], "volts": volts}


def _target(name: str) -> str:
    """What a test of this name is about; one that the sheet does not ask for is as a step that it lacks."""
    groups = name.removeprefix("insulation ")
    if groups != name and " to " in groups:
        return "isolation:" + groups.replace(" to ", "|")
    return f"step:{name}"


def _typed_result(old: Plain) -> Plain:
    return {
        "target": _target(old["name"]),
        "shows_turns": shows_turns(ResultKind(old["result_kind"]), old["name"]),
        **_typed_why(old["reason"], stated=old["stated"]),
    }


WHYS = {
    "a short: 0 Ω.": TypedWhy.SHORT,
    "the instrument's accuracy was not told; add it, such as accuracy 5 %.": TypedWhy.NO_ACCURACY,
    "recorded; the sheet sets no limits for it.": TypedWhy.NO_LIMITS,
    "recorded, not judged: no sister coil or golden unit was named.": TypedWhy.NO_PATTERN,
}
"""Reasons of typed results that held no numbers."""

RECORDED = "; recorded, not judged."


def _typed_why(reason: str, *, stated: bool) -> Plain:
    if stated:
        return {"why": TypedWhy.STATED.value, "words": reason}
    if reason in WHYS:
        return {"why": WHYS[reason].value}
    if reason.endswith(RECORDED):
        return {"why": TypedWhy.RECORDED.value, "words": reason.removesuffix(RECORDED)}
    if volts := _VOLTS.fullmatch(reason):
        return {"why": TypedWhy.LOW_VOLTS.value, "asked_volt": float(volts["asked"])}
    widths = _WIDTHS.search(reason)
    if widths is None:
        return {"why": TypedWhy.LIMITS.value}
    reach, band = _si(widths["reach"]), _si(widths["band"])
    return {"why": TypedWhy.LIMITS.value, "expanded_si": reach, "guard_band_si": band}


def _verdict(old: Plain) -> Plain:
    moved = _MOVED.fullmatch(old["reason"])
    by = {} if moved is None else {name: float(share) / 100.0 for name, share in moved.groupdict().items()}
    return {"basis": _basis(old).value, **_belongs(old["hint"]), **by}


def _basis(old: Plain) -> Basis:
    if old["step"] == WARM_CHECK:
        return Basis.REPEATED
    if old["reference_ohm"] is not None:
        return Basis.MEASURED
    by = (basis for text, basis in WITNESSES.items() if old["reason"].endswith(text))
    return next(by, Basis.OPEN_PROVEN)


def _belongs(hint: str) -> Plain:
    """Where a value was found to belong, by its hint."""
    if not hint:
        return {"fit": Fit.EXPECTED.value}
    for pattern, fit in ((_LIKE, Fit.OTHER_PAIR), (_MAY_BE, Fit.AMBIGUOUS)):
        if found := pattern.fullmatch(hint):
            return {
                "fit": fit.value,
                "reads_like": [each.split("–") for each in re.findall(_PAIR, found["pairs"])],
            }
    return {"fit": Fit.FAULT.value, "together": "touching each other" in hint}


def _batch(old: Plain) -> Plain:
    doubt, probability = old["doubt"], old["doubt_probability"]
    if not doubt:
        return {"first_doubt": None}
    return {"first_doubt": {"probability": probability or 0.0, "hypotheses": [], "said": doubt}}


def _notice(old: Plain) -> Plain:
    text = old["text"]
    if old["code"] == "step.skipped" and (out := _LEFT_OUT.fullmatch(text)):
        return {"step": out["step"], "facts": {"said": text, "reason": out["reason"]}}
    if old["code"] == "step.again" and (again := _AGAIN.fullmatch(text)):
        return {"step": again["step"], "facts": {"said": text}}
    return {"facts": {"said": text}}


STEPS: dict[str, tuple[str, Callable[[Plain], Plain]]] = {
    "unit_result": ("ending", _unit_result),
    "typed_result": ("target", _typed_result),
    "verdict": ("basis", _verdict),
    "notice": ("facts", _notice),
    "batch": ("first_doubt", _batch),
}
"""Of each kind: the field that only today's program writes, and what makes an older entry whole."""

FIELDS = {kind: frozenset(KINDS[kind].__slots__) for kind in STEPS}
"""Of each kind: the fields of today's record; what an older one had beside them is left out."""
