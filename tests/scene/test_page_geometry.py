"""The bench screen measured: at six sizes, light and dark, no text overlaps, is cut or leaves the screen."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from acquire.page.backend import About
from acquire.page.view import BenchView
from acquire.records import (
    Approach,
    Ask,
    Basis,
    Code,
    Contact,
    Ending,
    Fit,
    Judged,
    LiftOff,
    Notice,
    Outcome,
    Pair,
    Prompt,
    Purpose,
    Settled,
    Severity,
    UnitStarted,
    Why,
)
from acquire.sheets import load_sheet
from acquire.steps.pairs import PairTable
from drivers.reading import Kind, Quantity, Reading
from tests.browsers import needs_chromium, picture
from tests.fed_page import fed, tell
from tests.known_records import EVIDENCE, NOON_S, RESULT, VERDICT
from tests.pure_bench import CONFIGS

pytestmark = needs_chromium

DATA = Path(__file__).resolve().parents[1] / "data"
PLOVER = load_sheet(CONFIGS / "sheets" / "plover-80.toml")
SIZES = {
    "telephone": (390, 844),
    "laptop at 200 %": (683, 384),
    "tablet upright": (768, 1024),
    "full HD at 200 %": (960, 540),
    "laptop": (1366, 768),
    "full HD": (1920, 1080),
}
MILLIMETRE_PX = 1366 / 310
"""Of a 14-inch screen of 16:9 with 1366 pixels across: 310 mm wide (geometry)."""

SERIALS = {
    "plain": "P80-0004",
    "long": "2026-11/Werk-Nord/Linie-3/Spule-Nr-000000417-B, Nacharbeit",
    "arabic": "ملف الشحن ٤١٧",
    "emoji": "🧲🔧 417 👩‍🔧",
}
MAIN = ("touch", "settling", "pass")
"""Moments that fit the screen of a telephone, too, and on the lowest screen all that counts of them."""

LOOKED_FOR = ("touch", "sixty pins, a hundred steps", "sixty pins, six rows")
"""Moments at which somebody looks for the pins on the connector's face."""

KEPT = (*MAIN, "ended", "sixty pins, two rows")
MEASURE = (DATA / "measure_page.js").read_text(encoding="utf-8")


def at_work(sheet=PLOVER, serial="P80-0004"):
    """A view of a bench with a unit on it, first step asked for."""
    view = BenchView(About("bench-1", Purpose.FINAL, "bench meter", "Ida", "steadyohm 1"))
    view.on(PairTable(sheet))
    view.show(UnitStarted("bench-1", serial, sheet.name, "h", Purpose.FINAL, "", "Ida", NOON_S))
    view.show(prompt(sheet, 0))
    return view


def prompt(sheet, place, ask=Ask.TOUCH, why=Why.NONE):
    step = sheet.steps[place]
    return Prompt(ask, "P80-0004", step.pair, step.name, place, len(sheet.steps), why)


def reading(value_si, at_s):
    kind = Kind.OVERLOAD if value_si is None else Kind.VALUE
    return Reading("meter", Quantity.RESISTANCE, kind, value_si, at_s, NOON_S + at_s, round(1000 * at_s))


def judged(sheet, place, **changes):
    step = sheet.steps[place]
    known = {"step": step.name, "pin_a": step.pair.a, "pin_b": step.pair.b, "counts": True}
    return Judged(replace(VERDICT, **{**known, **changes}), EVIDENCE)


def settling(view):
    for place in range(40):
        view.see(reading(202.4 - 5.0 / (1 + place), 10.0 + 0.1 * place), Quantity.RESISTANCE)
        if place == 0:
            view.show(Contact("meter", 10.0, NOON_S))
    view.show(Approach("meter", Quantity.RESISTANCE, 202.3, 10.0, 0.4, NOON_S))


def moments():
    """(name, state) of each moment of a bench, shortest first."""
    idle = BenchView(About("bench-1", Purpose.FINAL, "bench meter", "Ida", "steadyohm 1"))
    idle.on(PairTable(PLOVER))
    idle.show(Prompt(Ask.START_UNIT))
    yield "idle", idle.state()
    view = at_work()
    view.see(reading(None, 1.0), Quantity.RESISTANCE)
    yield "touch", view.state()
    settling(view)
    yield "settling", view.state()
    view.show(
        Settled(
            "meter", Quantity.RESISTANCE, 202.4, 0.0, 9.0, 0.0, 0.0, 0.0, 9, None, None, 10.0, 13.0, NOON_S
        )
    )
    view.show(judged(PLOVER, 0))
    view.show(prompt(PLOVER, 1))
    yield "pass", view.state()
    view.show(
        judged(
            PLOVER,
            1,
            outcome=Outcome.FAIL,
            counts=False,
            reference_ohm=38.123,
            lower_ohm=43.3,
            upper_ohm=49.0,
            nominal_ohm=46.17,
        )
    )
    view.show(prompt(PLOVER, 1, Ask.TOUCH_AGAIN))
    view.show(LiftOff("meter", 14.0, NOON_S))
    yield "not yet", view.state()
    view.show(Contact("meter", 15.0, NOON_S))
    wrong = {
        "fit": Fit.OTHER_PAIR.value,
        "ohm": 202.5,
        "reads_like": ("1–2",),
        "reads_through": ("slow charge",),
        "last": ("1", "2"),
    }
    view.show(Notice(Severity.WARNING, Code.PAIR_OTHER, NOON_S, "P80-0004", Pair("2", "3"), facts=wrong))
    view.show(prompt(PLOVER, 1, Ask.TOUCH_AGAIN))
    yield "other pair", view.state()
    view.show(LiftOff("meter", 16.0, NOON_S))
    view.show(
        judged(
            PLOVER,
            1,
            outcome=Outcome.FAIL,
            reference_ohm=None,
            expanded_ohm=None,
            basis=Basis.OPEN_BY_KEY,
            lower_ohm=43.3,
            upper_ohm=49.0,
            nominal_ohm=46.17,
        )
    )
    view.show(prompt(PLOVER, 2))
    yield "open", view.state()
    view.show(replace(RESULT, serial="P80-0004", outcome=Outcome.FAIL))
    view.show(Prompt(Ask.START_UNIT))
    yield "ended", view.state()
    warm = replace(RESULT, serial="P80-0004", outcome=None, ending=Ending.WARM, hypotheses=(), wait_s=1800.0)
    view.show(warm)
    view.show(Prompt(Ask.START_UNIT))
    yield "held", view.state()
    view = at_work()
    view.see(reading(None, 1.0), Quantity.RESISTANCE)
    view.show(replace(prompt(PLOVER, 0), facts={"turn_ohm": 2000.0}))
    yield "dial", view.state()
    view.show(Notice(Severity.STOP, Code.METER_LOST, NOON_S, facts={"cause": "tcp:192.0.2.7: it hung up."}))
    yield "lost", view.state()
    for serial in SERIALS.values():
        view = at_work(serial=serial)
        view.show(replace(RESULT, serial=serial, outcome=Outcome.PASS, hypotheses=(), next_pair=None))
        view.show(Prompt(Ask.START_UNIT))
        yield f"ended {serial[:9]}", view.state()
        view = at_work(serial=serial)
        view.see(reading(202.4, 1.0), Quantity.RESISTANCE)
        view.show(prompt(PLOVER, 2, why=Why.SILENT))
        yield f"silent {serial[:9]}", view.state()
    view = at_work()
    view.show(Notice(Severity.STOP, Code.JOURNAL_UNUSABLE, NOON_S, facts={"cause": "the disk is full"}))
    for code in (Code.METER_HOLD, Code.METER_BATTERY):
        view.show(Notice(Severity.WARNING, code, NOON_S))
    yield "stopped", view.state()
    yield "sixty pins, a hundred steps", crowded(15)
    yield "sixty pins, six rows", crowded(10)
    yield "sixty pins, two rows", crowded(30)


def crowded(across):
    """Rows of so many pins, sixty in all; a hundred steps of which half are done."""
    view = at_work()
    view.show(judged(PLOVER, 0))
    state = view.state()
    pins = [
        {
            "name": str(1 + across * row + column),
            "row": row,
            "column": column,
            "colour": "green/yellow",
            "remark": "",
        }
        for row in range(60 // across)
        for column in range(across)
    ]
    state["face"] = {
        **state["face"],
        "pins": pins,
        "rows": [[p["name"] for p in pins if p["row"] == r] for r in range(60 // across)],
    }
    state["circuit"] = {
        "branches": [
            {"name": f"W{n}", "a": str(n), "b": str(n + 30), "kind": "winding", "text": "10 Ω"}
            for n in range(1, 31)
        ]
    }
    step = state["unit"]["steps"][0]
    done = {"state": "done", "outcome": "pass", "word": "pass", "value": "202.71 ± 0.42 Ω"}
    state["unit"] = {
        **state["unit"],
        "done": 50,
        "of": 100,
        "steps": [
            {
                **step,
                "name": f"W{n}",
                "pair": [str(1 + n % 60), str(1 + (n + 30) % 60)],
                **(
                    done
                    if n < 50
                    else {
                        "state": "asked" if n == 50 else "waiting",
                        "outcome": None,
                        "word": "",
                        "value": "",
                    }
                ),
            }
            for n in range(100)
        ],
    }
    state["phase"], state["verdict"] = "touch", None
    state["ask"] = {**state["ask"], "kind": "touch", "pair": ["21", "51"], "step": "W50", "plain": True}
    return state


def missed(seen, moment, wide, high):
    """What a size asks of a moment besides that nothing is cut: that it fits, and that it fills the space."""
    scrolls = high < 700 or moment == "stopped" or (wide < 400 and moment not in MAIN)
    if not scrolls and seen["high"] > high + 1:
        yield f"the page is {seen['high']} high"
    if seen["step"] and moment != "stopped":
        yield seen["step"]
    if seen["below"] and moment in LOOKED_FOR:
        yield f"the asked pins {seen['below']} lie below the screen"
    if moment in MAIN and seen["last"] > high:
        yield f"what counts ends at {seen['last']:.0f}"
    if moment != "pass":
        return
    areas = [seen[what]["width"] * seen[what]["height"] for what in ("value", "plug", "scale")]
    if not all(areas) or sum(areas) < 0.24 * wide * high:
        yield f"value, plug and scale fill {sum(areas) / wide / high:.2f} of the screen"
    if wide >= 1366 and seen["digits"] < 40 * MILLIMETRE_PX * wide / 1366:
        yield f"digits are {seen['digits']:.0f} px high"


def test_the_bench_screen_is_whole_at_six_sizes_light_and_dark(browser):
    """Measured, not looked at; a picture of most is kept for eyes."""
    faults = []
    states = list(moments())
    eye = fed(browser, states[0][1])
    for size, (wide, high) in SIZES.items():
        eye.page.set_viewport_size({"width": wide, "height": high})
        for place, (moment, state) in enumerate(states):
            scheme = ("light", "dark")[place % 2]
            eye.page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
            tell(eye, state, "state")
            eye.page.clock.fast_forward(2000)  # a verdict before it has had its time
            seen = eye.page.evaluate(MEASURE)
            found = [*seen["faults"], *missed(seen, moment, wide, high)]
            faults += [f"{size}, {moment}: {fault}" for fault in found]
            if moment in KEPT or found:
                picture(eye.page, f"geometry-{wide}-{place:02}")
    assert not faults, "\n".join(["", *faults])
    assert not eye.complaints
