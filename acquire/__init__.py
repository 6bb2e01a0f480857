"""steadyohm: the daemon's parts. The way of one reading stands in `acquire.pipeline`."""

__version__ = "0.1.0"
