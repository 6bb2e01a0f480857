"""Scores detections against the truth.

A detection belongs to the contact in which it was made, or that ended less than 1.5 reading intervals
before. It is right when it lies within the band of the truth at that time.

false: wrong, or with no contact at all, per 100 detections. dangerous: false, and its own uncertainty
does not cover it. missed: contacts of a step, settled for at least 1 s and 6 readings, without a right
detection; contact made again within 0.35 s on the same value counts as the same. delay: first right
detection less the settled instant. coverage: share within the reported expanded uncertainty, over first
right and all false detections of such contacts. off target: right, but on a wrong pin, a finger or
shorted probes.
"""

from __future__ import annotations

import math
import statistics
from dataclasses import dataclass, field
from itertools import pairwise

from .traces import BAND_COUNTS, BAND_RELATIVE, Contact, Trace

STEP_KINDS = ("dut", "insul")
SLIP_S = 0.35  # no hand moves a probe to another pin faster


@dataclass
class Detection:
    """One report: trace time s, value and expanded uncertainty in ohm."""

    time_s: float
    value: float
    expanded: float


@dataclass
class Score:
    """Counts over many traces."""

    detections: int = 0
    false: int = 0
    dangerous: int = 0
    due: int = 0
    missed: int = 0
    off_contacts: int = 0
    off_target: int = 0
    repeats: int = 0
    delays_s: list[float] = field(default_factory=list)
    covered: list[bool] = field(default_factory=list)
    readings: int = 0
    seconds: float = 0.0

    def share(self, name: str) -> float:
        """Per cent: of detections, or of what could be missed or off target."""
        of = {"missed": self.due, "off_target": self.off_contacts}.get(name, self.detections)
        return 100 * getattr(self, name) / max(of, 1)

    def interval(self, name: str) -> tuple[float, float]:
        """Wilson interval of 95 % for `share`, per cent."""
        of = {"missed": self.due, "off_target": self.off_contacts}.get(name, self.detections)
        return wilson(getattr(self, name), of)

    def delay_s(self, quantile: float) -> float:
        ordered = sorted(self.delays_s)
        return ordered[min(len(ordered) - 1, int(quantile * len(ordered)))] if ordered else math.nan

    @property
    def coverage(self) -> float:
        return statistics.fmean(self.covered) if self.covered else math.nan


def wilson(hits: int, of: int) -> tuple[float, float]:
    """95 % interval of a share, per cent (Wilson's score interval; from memory)."""
    if not of:
        return 0.0, 100.0
    z2 = 1.96**2
    p = hits / of
    centre = (p + z2 / 2 / of) / (1 + z2 / of)
    half = math.sqrt(z2 * (p * (1 - p) / of + z2 / 4 / of**2)) / (1 + z2 / of)
    return 100 * max(centre - half, 0.0), 100 * min(centre + half, 1.0)


def interval_s(trace: Trace) -> float:
    times = [r[0] for r in trace.readings]
    steps = [b - a for a, b in pairwise(times)]
    return statistics.median(steps) if steps else 1.0


def band(contact: Contact, trace: Trace) -> float:
    """Half-width of the band of a contact, ohm, from the count of the range it ended in."""
    seen = [r for r in trace.readings if contact.start_s <= r[0] <= contact.end_s and r[1] is not None]
    return max(BAND_COUNTS * (seen[-1][3] if seen else 0.0), BAND_RELATIVE * abs(contact.value))


def error(contact: Contact, detection: Detection) -> float:
    at_s = contact.start_s if contact.settled_s is None else contact.settled_s
    return detection.value - contact.value - contact.drift * (detection.time_s - at_s)


def owner(trace: Trace, time_s: float, step_s: float) -> int | None:
    """Index of the contact that a detection at this time belongs to."""
    fits = (
        k
        for k in reversed(range(len(trace.contacts)))
        if trace.contacts[k].start_s <= time_s <= trace.contacts[k].end_s + 1.5 * step_s
    )
    return next(fits, None)


def add(score: Score, trace: Trace, detections: list[Detection]) -> None:
    """Score one trace into the sum."""
    step_s = interval_s(trace)
    bands = [band(c, trace) for c in trace.contacts]
    due = [
        c.kind in STEP_KINDS and c.settled_s is not None and c.end_s - c.settled_s >= max(1.0, 6 * step_s)
        for c in trace.contacts
    ]
    score.off_contacts += sum(c.kind not in STEP_KINDS for c in trace.contacts)
    done: set[int] = set()
    for detection in sorted(detections, key=lambda d: d.time_s):
        score.detections += 1
        k = owner(trace, detection.time_s, step_s)
        if k is None:
            score.false += 1
            score.dangerous += 1
            continue
        contact, off = trace.contacts[k], abs(error(trace.contacts[k], detection))
        right, covered = off <= bands[k], off <= detection.expanded
        if not right:
            score.false += 1
            score.dangerous += not covered
        elif k in done:
            score.repeats += 1
            continue
        elif contact.kind not in STEP_KINDS:
            score.off_target += 1
            done.add(k)
            continue
        if due[k]:
            score.covered.append(covered)
        if right:
            done.add(k)
            if due[k]:
                score.delays_s.append(detection.time_s - contact.settled_s)
    for group in _groups(trace.contacts, bands):
        wanted = any(due[k] for k in group)
        score.due += wanted
        score.missed += wanted and done.isdisjoint(group)


def _groups(contacts: list[Contact], bands: list[float]) -> list[list[int]]:
    """Contacts that a slip cut in two belong together."""
    groups: list[list[int]] = []
    for k, now in enumerate(contacts):
        last = contacts[k - 1] if k else None
        slip = (
            last is not None
            and last.kind == now.kind
            and now.start_s - last.end_s < SLIP_S
            and abs(last.value - now.value) <= 2 * max(bands[k - 1], bands[k])
        )
        if slip:
            groups[-1].append(k)
        else:
            groups.append([k])
    return groups
