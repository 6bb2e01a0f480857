"""`python -m tests.adversary --units 300`: many units, the real daemon; 1 if one is judged wrongly."""

from __future__ import annotations

import argparse
import sys
import time

from tests.adversary.campaign import SHEETS, campaign
from tests.adversary.hands import HABITS


def main():
    """Run it and print the table."""
    words = argparse.ArgumentParser(prog="python -m tests.adversary", description=__doc__)
    words.add_argument("--units", type=int, default=70)
    words.add_argument("--sheets", nargs="+", default=list(SHEETS), choices=list(SHEETS))
    words.add_argument("--seed", default="1")
    words.add_argument("--per-life", type=int, default=10, help="units between two starts of the daemon")
    words.add_argument("--side-by-side", type=int, default=2, help="benches at a time")
    words.add_argument(
        "--hurry", type=float, default=10.0, help="units cool so many times faster, as hands are"
    )
    words.add_argument(
        "--habits", nargs="+", default=["obedient", "lingering", "slipping"], choices=list(HABITS)
    )
    words.add_argument("--verbose", action="store_true", help="every unit, not only the wrong ones")
    given = words.parse_args()
    began_s = time.monotonic()

    def say(fate):
        if given.verbose or fate.wrong or fate.became == "unfinished":
            print(fate.line(), flush=True)

    tally = campaign(
        given.units, given.sheets, given.seed, per_life=given.per_life, side_by_side=given.side_by_side,
        hurry=given.hurry, habits=tuple(given.habits), say=say,
    )  # fmt: skip
    print(tally.table())
    print(f"{len(tally.fates)} units in {time.monotonic() - began_s:.0f} s, seed {given.seed}")
    for error in tally.broken:
        print(f"a daemon that could not go on: {error[-1500:]}")
    return 1 if tally.wrong or tally.broken else 0


if __name__ == "__main__":
    sys.exit(main())
