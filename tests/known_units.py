"""The shipped unit types as the simulation reads them from their sheets. Not a test itself."""

from sim.units import unit_type

UNIT_TYPES = {name: unit_type(name) for name in ("plover-80", "quern-12", "fathom-7")}
PLOVER_80, QUERN_12, FATHOM_7 = UNIT_TYPES.values()
