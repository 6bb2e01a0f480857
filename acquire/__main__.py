"""`python -m acquire` is `steadyohm`."""

from acquire.cli import main

main()
