"""A simulated bench: a wound unit, two probes in somebody's hands, a meter and a thermometer.

Started as a process (`python -m sim`), never imported by the product and importing nothing of it: what the
two share is an address (a pty path or a loopback port) and the prompts a person at the bench would see. So a
mistake in a decoder cannot cancel itself in an encoder.

Not a circuit simulator: windings are resistors with a temperature, contacts are resistances that change with
time; voltages, sparks and magnets are left out.
"""
