"""kill -9 of the whole daemon, five hundred times: is anything lost, what comes twice?

    python -m tests.benchmarks.kills [KILLS] [SEED]

Real `steadyohm run` processes on a simulated meter with a real broker and subscriber (tests/killed_benches.py
tells how). Stops with a message at the first disagreement between journal, CSV and subscriber. Held constant:
one bench, one simulated unit type, MQTT 5 on loopback, a disk that keeps its promises.
"""

from __future__ import annotations

import asyncio
import sys
import tempfile
from pathlib import Path

from tests.killed_benches import KilledBench


def main():
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 11
    with tempfile.TemporaryDirectory() as folder:
        counts = asyncio.run(KilledBench(Path(folder) / "bench", seed).live(kills))
    print(f"kills                                    {counts.kills} in {counts.took_s:.0f} s")
    print(f"  before the bench had said anything     {counts.young}")
    print(f"  starts that found a unit in work       {counts.resumed}, each at a step still open")
    print(f"verdicts on the journal                  {counts.verdicts}, of {counts.units} units")
    print(f"typed results on the journal             {counts.results}")
    print(f"lost in CSV or MQTT                      {counts.lost}")
    print(f"rows twice in CSV                        {counts.csv_twice}")
    print(f"came twice over MQTT, with the same id   {counts.copies}")


if __name__ == "__main__":
    main()
