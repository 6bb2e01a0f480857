"""The virtual operator: does what the prompts say, with a person's delays and mistakes."""

from __future__ import annotations

import asyncio
import contextlib
import io
import json
import random
from dataclasses import replace

import pytest

from sim.clock import BenchClock
from sim.hands import MOST_HINTS, Pace
from sim.meter import Meter, meter_class
from sim.probes import Ambient, Probes
from sim.scenes import build_scene
from sim.truth import TruthLog
from tests.free_hands import FreeHands

QUICK = Pace(patience=8.0, real_patience_s=0.0)


class Desk:
    """A bench with hands at forty times the speed of life; keeps what they say."""

    def __init__(self, scene, seed=7, **habits):
        self.clock = BenchClock(40.0)
        self.probes = Probes(Ambient(random.Random(1)))
        self.meter = Meter(
            meter_class("bench-6-digit"), self.probes, self.clock, random.Random(2), four_wire=True
        )
        self.said = asyncio.Queue()
        self.truth = io.StringIO()
        self.hands = FreeHands(
            scene,
            seed,
            probes=self.probes,
            meter=self.meter,
            clock=self.clock,
            tell=self.said.put_nowait,
            truth=TruthLog(self.truth),
            pace=QUICK,
            **habits,
        )

    def show(self, what, **more):
        """A prompt on the screen."""
        self.hands.see({"show": what, **more})

    async def heard(self):
        """The next thing the hands do."""
        async with asyncio.timeout(5):
            return await self.said.get()

    def truths(self, what):
        """Lines of the truth log of one kind."""
        return [f for line in self.truth.getvalue().splitlines() if (f := json.loads(line))["truth"] == what]

    async def measure_always(self):
        """A meter that somebody keeps reading."""
        while True:
            await self.meter.convert()


@contextlib.asynccontextmanager
async def desk(scene, seed=7, **habits):
    """A desk at work; its hands are `FreeHands` with these habits."""
    found = Desk(scene, seed, **habits)
    tasks = [asyncio.create_task(found.hands.work()), asyncio.create_task(found.measure_always())]
    try:
        yield found
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


def calm(units=1, story=None, **more):
    """A scene without random mishaps; with one unit of a story where asked."""
    scene = build_scene("plover-80", 7, 10)
    chosen = [u for u in scene.units if story is None or u.story == story][:units]
    return replace(scene, units=tuple(chosen), **{"random_early": 0.0, "random_slip": 0.0, **more})


async def test_a_unit_is_scanned_when_the_bench_waits_for_one_and_the_day_ends_when_none_is_left():
    """One unit: scan, aside, finished."""
    async with desk(calm()) as d:
        d.show("start_unit")
        assert await d.heard() == {"hands": "scan", "serial": "P80-0001"}
        d.show("unit", outcome="pass")
        assert await d.heard() == {"hands": "aside", "serial": "P80-0001"}
        d.show("start_unit")
        assert await d.heard() == {"hands": "finished"}


async def test_the_probes_go_where_the_prompt_says_and_up_after_the_verdict():
    """Names of pins in any case; the truth log knows the ohms."""
    async with desk(calm()) as d:
        d.show("start_unit")
        await d.heard()
        d.show("touch", pins=["5", "core"])
        assert await d.heard() == {"hands": "touch", "pins": ["5", "CORE"]}
        d.show("settled")
        d.show("verdict", outcome="pass")
        assert await d.heard() == {"hands": "lift"}
        touch = d.truths("touch")[-1]
        assert touch["pins"] == ["5", "CORE"]
        assert touch["true_ohm"] == pytest.approx(0.394, rel=0.05)


async def test_a_slip_to_a_wrong_pair_is_mended_after_the_hint():
    """The unit that is probed on 1-3 instead of 1-2 at first."""
    async with desk(calm(story="wrong pair")) as d:
        d.show("start_unit")
        await d.heard()
        d.show("touch", pins=["1", "2"])
        assert await d.heard() == {"hands": "touch", "pins": ["1", "3"]}
        d.show("hint", text="that reads like 1-3")
        d.show("touch_again", pins=["1", "2"])
        assert await d.heard() == {"hands": "lift"}
        assert await d.heard() == {"hands": "touch", "pins": ["1", "2"]}
        await d.clock.pause(4.0)
        assert d.said.empty()  # hint and prompt meant the same: one touch does for both


async def test_a_prompt_for_another_pair_moves_the_probes():
    """No verdict is needed for that."""
    async with desk(calm()) as d:
        d.show("start_unit")
        await d.heard()
        d.show("touch", pins=["1", "2"])
        await d.heard()
        d.show("touch", pins=["1", "2"])  # the same prompt again changes nothing
        d.show("touch", pins=["2", "3"])
        assert await d.heard() == {"hands": "lift"}
        assert await d.heard() == {"hands": "touch", "pins": ["2", "3"]}


async def test_touch_again_means_up_and_down_on_the_same_pair():
    """While holding, and after having lifted."""
    async with desk(calm()) as d:
        d.show("start_unit")
        await d.heard()
        d.show("touch", pins=["1", "2"])
        await d.heard()
        d.show("touch_again", pins=["1", "2"])
        assert [await d.heard(), await d.heard()] == [
            {"hands": "lift"},
            {"hands": "touch", "pins": ["1", "2"]},
        ]
        d.show("verdict", outcome="fail")
        assert await d.heard() == {"hands": "lift"}
        d.show("touch_again", pins=["1", "2"])
        assert await d.heard() == {"hands": "touch", "pins": ["1", "2"]}


async def test_an_open_pair_is_confirmed_after_the_display_has_shown_nothing_for_long():
    """The hands look at the meter's own display; the probes stay down."""
    async with desk(calm(story="open")) as d:
        d.show("start_unit")
        await d.heard()
        broken = next(
            tuple(p.split("-")) for p, f in d.truths("unit")[0]["pairs"].items() if f["true_ohm_20"] is None
        )
        d.show("touch", pins=list(broken))
        began_s = d.clock.now_s()
        await d.heard()
        assert await d.heard() == {"hands": "confirm_open", "pins": list(broken)}
        assert d.clock.now_s() - began_s > QUICK.open_display
        assert d.probes.held is not None


async def test_a_person_loses_patience_and_touches_again():
    """No news for long: up, look, down."""
    async with desk(calm()) as d:
        d.show("start_unit")
        await d.heard()
        d.show("touch", pins=["1", "2"])
        assert [(await d.heard())["hands"] for _ in range(3)] == ["touch", "lift", "touch"]


async def test_early_lifts_are_followed_by_another_touch():
    """The hands notice that there was no verdict."""
    async with desk(calm(random_early=1.0)) as d:
        d.show("start_unit")
        await d.heard()
        d.show("touch", pins=["1", "2"])
        assert [(await d.heard())["hands"] for _ in range(3)] == ["touch", "lift", "touch"]
        short = d.truths("touch")[0]
        assert short["end_s"] - short["start_s"] < 2.0


async def test_hands_turn_the_dial_first_and_say_where_it_stands_if_asked():
    """A 2000-count meter with a dial: a prompt names the range, a refused key asks for a word."""
    async with desk(calm()) as d:
        d.meter = d.hands._meter = Meter(meter_class("hand-2000"), d.probes, d.clock, random.Random(2))
        d.show("start_unit")
        await d.heard()
        assert (d.meter.auto, d.meter.range.nominal_ohm) == (False, 200.0)
        d.show("touch", pins=["1", "2"], turn_ohm=2000.0)
        assert (await d.heard())["hands"] == "touch"
        assert d.meter.range.nominal_ohm == 2000.0
        d.show("wait", turn_ohm=2e6, untold=True)
        assert await d.heard() == {"hands": "type", "line": ".dial 2000000 ohm"}
        assert d.meter.range.nominal_ohm == 2e6
        assert d.probes.held is not None


async def test_random_wrong_pairs_happen_once_per_pair():
    """With certainty, for the test."""
    async with desk(calm(random_wrong=1.0)) as d:
        d.show("start_unit")
        await d.heard()
        d.show("touch", pins=["1", "2"])
        assert (await d.heard())["pins"] != ["1", "2"]
        d.show("hint", text="")
        await d.heard()
        assert (await d.heard())["pins"] == ["1", "2"]


async def test_the_tips_are_held_together_for_the_lead_zero_until_told():
    """Short, then lift."""
    async with desk(calm()) as d:
        d.show("short_probes")
        assert await d.heard() == {"hands": "short"}
        await d.clock.pause(1.0)
        assert 0.12 < d.probes.ohm(d.clock.now_s(), four_wire=False) < 0.6
        assert d.probes.ohm(d.clock.now_s(), four_wire=True) == 0.0
        d.show("lift")
        assert await d.heard() == {"hands": "lift"}


async def test_a_prompt_for_places_that_the_unit_does_not_have_puzzles_the_hands():
    """Nothing is touched."""
    async with desk(calm()) as d:
        d.show("start_unit")
        await d.heard()
        d.show("touch", pins=["1", "9"])
        assert await d.heard() == {"hands": "puzzled", "pins": ["1", "9"]}
        assert d.probes.held is None


async def a_unit_played_through(seed):
    """What the hands do and what was true, for one unit under one seed."""
    async with desk(calm(random_early=0.5, random_slip=0.5, random_wrong=0.3), seed) as d:
        d.show("start_unit")
        done = [await d.heard()]
        for pins in (["1", "2"], ["2", "3"], ["4", "CORE"]):
            d.show("touch", pins=pins)
            done.append(await d.heard())
            d.show("lift")
            done.append(await d.heard())
        leads = [t["lead_ohm"] for t in d.truths("touch")]
        return done, leads, [t["pairs"] for t in d.truths("unit")]


async def test_the_same_seed_brings_the_same_units_touches_and_contacts():
    """And another seed others."""
    first, again, other = [await a_unit_played_through(seed) for seed in (7, 7, 8)]
    assert first == again
    assert first[1] != other[1]


async def test_puzzled_hands_try_again_after_a_while_as_long_as_the_screen_asks():
    """After too many hints for the same pair they rest, then look at the screen once more."""
    async with desk(calm()) as d:
        d.show("start_unit")
        await d.heard()
        d.show("touch", pins=["1", "2"])
        assert (await d.heard())["hands"] == "touch"
        for _ in range(MOST_HINTS):
            d.show("hint", text="")
            assert [(await d.heard())["hands"] for _ in range(2)] == ["lift", "touch"]
        d.show("hint", text="")
        assert await d.heard() == {"hands": "lift"}
        rested_s = d.clock.now_s()
        assert await d.heard() == {"hands": "touch", "pins": ["1", "2"]}
        assert d.clock.now_s() - rested_s > QUICK.patience


async def test_hands_rest_when_the_screen_asks_for_nothing():
    """After a verdict nothing is touched until the next prompt."""
    async with desk(calm()) as d:
        d.show("start_unit")
        await d.heard()
        d.show("touch", pins=["1", "2"])
        await d.heard()
        d.show("verdict", outcome="pass")
        assert await d.heard() == {"hands": "lift"}
        await d.clock.pause(3 * QUICK.patience)
        assert d.said.empty()


async def test_hands_near_the_right_pair_keep_one_probe_on_it():
    """Every touch, and stubborn hands go to the same wrong pair again."""
    async with desk(calm(), near=1.0, stubborn=1.0) as d:
        d.show("start_unit")
        await d.heard()
        d.show("touch", pins=["1", "2"])
        first = (await d.heard())["pins"]
        assert len({*first} & {"1", "2"}) == 1
        d.show("hint", text="")
        assert await d.heard() == {"hands": "lift"}
        assert (await d.heard())["pins"] == first


async def test_a_person_sees_a_wrong_pair_before_pressing_the_key():
    """The display shows overload for the probes are on 1-CORE, not 1-2: they move, nothing is confirmed."""
    async with desk(calm()) as d:
        d.hands._where_to_go = lambda _asked: ("1", "CORE")
        d.hands._pace = replace(QUICK, notices=1.0)
        d.show("start_unit")
        await d.heard()
        d.show("touch", pins=["1", "2"])
        assert (await d.heard())["pins"] == ["1", "CORE"]
        assert [(await d.heard())["hands"] for _ in range(2)] == ["lift", "touch"]
        assert d.probes.held.pair == ("1", "2")


async def test_hands_with_an_order_of_their_own_take_every_pair_once():
    """Whichever is asked for, until none is left."""
    async with desk(calm(), own_order=True) as d:
        d.show("start_unit")
        await d.heard()
        steps = [list(pair) for pair in d.hands._scene.kind.steps]
        touched = []
        for _ in steps:
            asked = next(pair for pair in steps if pair not in touched)
            d.show("touch", pins=asked)
            touched.append((await d.heard())["pins"])
            d.show("verdict", outcome="pass")
            assert await d.heard() == {"hands": "lift"}
        assert sorted(touched) == sorted(steps)
