"""`steadyohm` by a clock that goes faster: `python -m tests.hurried SPEED COMMAND ...`. Not a test itself."""

import runpy
import sys

from acquire.clock import RealClock

RealClock.__init__.__defaults__ = (float(sys.argv.pop(1)), *RealClock.__init__.__defaults__[1:])
runpy.run_module("acquire", run_name="__main__", alter_sys=True)
