"""Records of invented gauge studies with known figures, for tests of their reports. Not a test itself."""

import random
from dataclasses import replace

from acquire.study.record import Measurement, StudyRecord, Subject, plan_of

SUBJECT = Subject(
    bench="bench-1",
    purpose="final",
    sheet="Fathom 7",
    sheet_hash="ab" * 32,
    step="P1",
    pin_a="1",
    pin_b="2",
    nominal_ohm=243.09,
    lower_ohm=228.5,
    upper_ohm=257.7,
    reference_celsius=20.0,
    four_wire=False,
    meter="bench-6-digit",
    meter_hash="cd" * 32,
    software="steadyohm 0.1.0",
)


def study_record(repeat=0.1, operator=0.0, drift=0.0, u=0.5, operators=("ann", "bo"), parts=8, **subject):
    """A study from true figures; `drift` is ohms over the whole of it."""
    dice = random.Random(3)
    plan = plan_of([f"F7-{n:03}" for n in range(1, parts + 1)], operators, 3, 11)
    true = {part.label: dice.gauss(243.0, 2.5) for part in plan.parts}
    made = StudyRecord(replace(SUBJECT, **subject), plan, 1.8e9)
    for turn in plan.turns:
        ohm = true[turn.label] + dice.gauss(0.0, repeat) + operator * (turn.operator == operators[-1])
        ohm += drift * turn.number / len(plan.turns)
        made.taken[turn.number] = Measurement(
            turn.number, ohm, u, 2 * u, ohm + 0.12, 0.12, 21.0, 1.2, 1.8e9 + 30.0 * turn.number, "meter"
        )
    return made
