"""The conformance kit: proves a driver, ours or a third party's, against the promises of `drivers.meter`.

    python -m drivers.conformance NAME FRAMES.json [--options JSON]

or, with options of pytest's own,

    pytest -p drivers.conformance.plugin --pyargs drivers.conformance --driver NAME --vectors FRAMES.json

NAME is any driver that the registry knows (built in, or by the entry point group `steadyohm.drivers`).
FRAMES.json holds frames and what they say, see `drivers/README.md`. Not part of a running bench: it needs
pytest.
"""
