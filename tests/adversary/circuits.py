"""Units as a sheet draws them and as they really are; solved by networkx's Laplacian and numpy.

A sheet is read here with tomllib alone. A `Unit` has its own true value in every winding, joints in pins,
shorted turns, opens, and one temperature that cools by two exponentials; `resistance` says what lies between
two pins at an instant. Copper: R(t) = R20 (234.5 + t) / 254.5 (IEC 60034-1 gives 235; the difference is 0.02
% over 10 K).
"""

from __future__ import annotations

import itertools
import math
import time
import tomllib
from dataclasses import dataclass, field

import numpy as np

from tests.later import nx

COPPER_K = 234.5
OHM = {"u": 1e-6, "µ": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6, "G": 1e9}


def ohms(text):
    """Ohms of a text such as "23.4 mohm"."""
    number, unit = text.split()
    return float(number) * OHM[unit.removesuffix("ohm").removesuffix("Ω")]


def share(text):
    """Part of one of a text such as "6 %"."""
    number, unit = text.split()
    assert unit == "%", text
    return float(number) / 100.0


@dataclass(frozen=True)
class Edge:
    """One resistive path. `kind`: winding, strap or lead."""

    name: str
    kind: str
    ends: tuple
    ohm: float
    tolerance: float = 0.0
    spread: float = 0.0
    upper_ohm: float | None = None


@dataclass
class Sheet:
    """A unit type.

    Attributes:
        pairs: what is measured, in order, as (step name, (pin, pin), own limits).
        rules: balances and matchings as (kind, name, windings, limit).
    """

    file: object
    name: str
    reference_celsius: float
    edges: list
    pairs: list
    rules: list
    four_wire: dict

    @classmethod
    def read(cls, file, *, purpose="final", four_wire_below_ohm=10.0):
        """Read one file."""
        tree = tomllib.loads(file.read_text(encoding="utf-8"))
        column = "acceptance" if purpose in ("final", "winding") else "serviceable"
        other = "serviceable" if column == "acceptance" else "acceptance"
        core = tree["connector"].get("core", "")
        leads = {pin["name"]: ohms(pin["lead"]) for pin in tree.get("pin", ()) if "lead" in pin}
        edges = [Edge(f"lead {pin}", "lead", (pin, f"{pin}'"), ohm) for pin, ohm in leads.items()]

        def inner(end):
            return f"{end}'" if end in leads else end

        for each in tree["winding"]:
            tolerance = share(each.get(column) or each[other])
            spread = share(each["spread"]) if "spread" in each else share(each["acceptance"]) / 3.0
            ends = tuple(inner(end) for end in each["between"])
            edges.append(Edge(each["name"], "winding", ends, ohms(each["resistance"]), tolerance, spread))
        for each in tree.get("strap", ()):
            ends = tuple(inner(end) for end in each["between"])
            ohm = ohms(each["resistance"])
            edges.append(Edge(each["name"], "strap", ends, ohm, 0.0, 0.1, ohms(each["upper"])))
        pins = [pin for row in tree["connector"].get("rows", ()) for pin in row if pin]
        pins += [pin["name"] for pin in tree.get("pin", ()) if pin["name"] not in pins]
        places = {*pins, core} - {""}
        pairs = [
            (each["name"], tuple(each["pair"]), each)
            for each in tree.get("step", ())
            if each.get("kind", "resistance") == "resistance"
        ] or cls._own_pairs(edges, places)
        rules = [
            ("balance", e["name"], tuple(e["windings"]), share(e["limit"])) for e in tree.get("balance", ())
        ]
        rules += [
            ("matching", e["name"], tuple(e["windings"]), share(e["limit"])) for e in tree.get("matching", ())
        ]
        sheet = cls(
            file,
            tree["sheet"]["name"],
            float(tree["sheet"].get("reference_temperature", "20 °C").split()[0]),
            edges,
            pairs,
            rules,
            {},
        )
        for name, pair, own in pairs:
            wires = own.get("wires")
            nominal = sheet.nominal_ohm(pair)
            sheet.four_wire[name] = wires == 4 or (wires is None and nominal < four_wire_below_ohm)
        return sheet

    @staticmethod
    def _own_pairs(edges, places):
        """Steps of a sheet without any: one a winding and strap, or every pair around an inner point."""
        windings = [edge for edge in edges if edge.kind != "lead"]
        plain = [tuple(end.removesuffix("'") for end in edge.ends) for edge in windings]
        if all(end in places for ends in plain for end in ends):
            return [(edge.name, ends, {}) for edge, ends in zip(windings, plain, strict=True)]
        outer = sorted({end for ends in plain for end in ends if end in places}, key=[*sorted(places)].index)
        return [(f"{a} to {b}", (a, b), {}) for a, b in itertools.combinations(outer, 2)]

    # ------------------------------------------------------------------ solving

    def between(self, pair, values, joints=None):
        """Ohms between two pins.

        Args:
            pair: two pins.
            values: ohms by name of edge; infinite for an open one, missing: nominal.
            joints: ohms by pin.
        """
        graph = nx.MultiGraph()
        for edge in self.edges:
            ohm = values.get(edge.name, edge.ohm)
            if math.isfinite(ohm):
                graph.add_edge(*edge.ends, conductance=1.0 / max(ohm, 1e-9))
        a, b = pair
        if a not in graph or b not in graph or not nx.has_path(graph, a, b):
            return math.inf
        nodes = list(nx.node_connected_component(graph, a))
        part = graph.subgraph(nodes)
        laplacian = nx.laplacian_matrix(part, nodelist=nodes, weight="conductance").toarray()
        rest = [i for i, node in enumerate(nodes) if node != b]
        current = np.zeros(len(rest))
        at = [nodes[i] for i in rest].index(a)
        current[at] = 1.0
        volt = np.linalg.solve(laplacian[np.ix_(rest, rest)], current)
        in_series = sum((joints or {}).get(pin, 0.0) for pin in pair)
        return float(volt[at]) + in_series

    def nominal_ohm(self, pair):
        """What a pair should read at the reference temperature."""
        return self.between(pair, {})

    def limits(self, step, pair, own):
        """Lower and upper limit of a step, worst case over the windings; None where one side is open."""
        if "lower" in own or "upper" in own:
            return (
                ohms(own["lower"]) if "lower" in own else None,
                ohms(own["upper"]) if "upper" in own else None,
            )
        low, high, only_straps = {}, {}, True
        for edge in self.edges:
            if edge.kind == "winding":
                low[edge.name], high[edge.name] = (
                    edge.ohm * (1 - edge.tolerance),
                    edge.ohm * (1 + edge.tolerance),
                )
            elif edge.kind == "strap":
                low[edge.name], high[edge.name] = 0.0, edge.upper_ohm
        only_straps = self._path_of_straps(pair)
        return (None if only_straps else self.between(pair, low), self.between(pair, high))

    def _path_of_straps(self, pair):
        graph = nx.Graph([edge.ends for edge in self.edges if edge.kind != "winding"])
        return pair[0] in graph and pair[1] in graph and nx.has_path(graph, *pair)

    @property
    def windings(self):
        """The windings alone."""
        return [edge for edge in self.edges if edge.kind == "winding"]

    @property
    def pins(self):
        """All places that some step touches."""
        return sorted({pin for _, pair, _ in self.pairs for pin in pair})

    def joint_reach(self):
        """By pin: the row that makes its joint of the step values, where the steps determine it at all.

        A joint is an unknown beside all windings; it can be told where no change of windings (and of the
        other joints) makes the same readings.
        """
        unknown = [(edge.name, edge.ohm) for edge in self.edges if edge.kind != "lead"]
        base = np.array([self.between(pair, {}) for _, pair, _ in self.pairs])
        columns = []
        for name, ohm in unknown:
            moved = np.array([self.between(pair, {name: ohm * 1.0001}) for _, pair, _ in self.pairs])
            columns.append((moved - base) / (ohm * 0.0001))
        windings = np.array(columns).T
        reach = {}
        for pin in self.pins:
            joint = np.array([float(pin in pair) for _, pair, _ in self.pairs])
            # part of the joint's mark that no winding can make
            solved, *_ = np.linalg.lstsq(windings, joint, rcond=1e-9)
            left = joint - windings @ solved
            if left @ left > 1e-6:
                reach[pin] = left / (left @ joint)
        return reach


# ---------------------------------------------------------------------- one real unit


@dataclass
class Warmth:
    """Warmer than the room by so much at the start, cooling by two exponentials.

    Attributes:
        kelvin: at `since_s`; quick: share of it that goes with `quick_s`, the rest with `slow_s`.
    """

    kelvin: float = 0.0
    quick: float = 0.4
    quick_s: float = 240.0
    slow_s: float = 2400.0
    since_s: float = field(default_factory=time.monotonic)

    def above_kelvin(self, now_s):
        """How much warmer than the room."""
        passed = max(0.0, now_s - self.since_s)
        return self.kelvin * (
            self.quick * math.exp(-passed / self.quick_s) + (1 - self.quick) * math.exp(-passed / self.slow_s)
        )


@dataclass
class Unit:
    """One core on the bench.

    Attributes:
        values: ohms at the reference temperature by name of edge; joints: ohms by pin.
        planted: short names of what is wrong, for the table.
    """

    sheet: Sheet
    serial: str
    values: dict
    joints: dict = field(default_factory=dict)
    room_celsius: float = 22.0
    warmth: Warmth = field(default_factory=Warmth)
    planted: tuple = ()
    _cold: dict = field(default_factory=dict)

    def reference_ohm(self, pair):
        """What lies between two pins at the reference temperature, joints included."""
        if pair not in self._cold:
            bare = self.sheet.between(pair, self.values)
            self._cold[pair] = (bare, sum(self.joints.get(pin, 0.0) for pin in pair))
        bare, joints = self._cold[pair]
        return bare + joints

    def resistance_ohm(self, pair, now_s=None):
        """What lies between two pins now."""
        self.reference_ohm(pair)
        bare, joints = self._cold[pair]
        celsius = self.room_celsius + self.warmth.above_kelvin(time.monotonic() if now_s is None else now_s)
        return bare * (COPPER_K + celsius) / (COPPER_K + self.sheet.reference_celsius) + joints


def good_values(sheet, dice, wide=1.0):
    """True values of a sound unit: windings by the sheet's spread, cut at four fifths of the tolerance."""
    values = {}
    for edge in sheet.edges:
        if edge.kind == "winding":
            most = 0.8 * edge.tolerance
            values[edge.name] = edge.ohm * (1 + max(-most, min(most, dice.gauss(0, edge.spread * wide))))
        elif edge.kind == "strap":
            values[edge.name] = edge.ohm * (1 + max(-0.3, min(0.3, dice.gauss(0, edge.spread))))
        else:
            values[edge.name] = edge.ohm
    for _, _, names, limit in sheet.rules:  # what must be alike is wound together
        mean = sum(values[name] / _edge(sheet, name).ohm for name in names) / len(names)
        for name in names:
            off = max(-0.3 * limit, min(0.3 * limit, dice.gauss(0, 0.15 * limit)))
            values[name] = _edge(sheet, name).ohm * mean * (1 + off)
    return values


def _edge(sheet, name):
    return next(edge for edge in sheet.edges if edge.name == name)
