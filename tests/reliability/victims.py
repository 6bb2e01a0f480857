"""A process that starts benches and kills them with SIGKILL at random instants. Not a test itself.

    python tests/reliability/victims.py FOLDER PORT KILLS SEED

Each victim opens the journal, lets CSV and MQTT drain it, and commits verdicts as fast as a busy bench might.
It notes each serial in a file once its commit has returned: those must never be lost. All imports are done
before the first fork, so that a victim is at work within milliseconds; nothing of the journal is open here.
The last victim is let live until everything has gone out.
"""

import asyncio
import json
import os
import random
import signal
import sys
import time
from pathlib import Path

import structlog

from acquire.clock import RealClock
from acquire.journal.store import Journal
from acquire.outlets.csv_log import CsvLog
from acquire.outlets.mqtt import Broker
from acquire.outlets.mqtt_outlet import MqttOutlet
from acquire.outlets.outlet import BackOff, drain
from tests.known_records import EVIDENCE, NOTICE, verdict

LONGEST_LIFE_S = 0.25
PAUSE_S = 0.002
WORK_A_LIFE = 5
"""Verdicts, in the mean: fewer prove too little."""


async def live(folder, port, life):
    """Work until killed; the last life ends by itself when all has gone out."""
    clock = RealClock()
    journal = Journal.open(folder / "journal", bench="north bench", clock=clock)
    outlet = MqttOutlet(
        Broker(host="127.0.0.1", port=port, answer_s=2.0), bench="north bench", clock=clock, software="victim"
    )
    stop, back_off = asyncio.Event(), BackOff(0.01, 0.05)
    async with asyncio.TaskGroup() as group:
        group.create_task(drain(journal, CsvLog(folder / "csv"), "csv", stop))
        group.create_task(drain(journal, outlet, "mqtt", stop, back_off=back_off))
        if life >= 0:
            await work(journal, folder, life)
        stop.set()
    await journal.close()


async def work(journal, folder, life):
    """Commit verdicts, a few at a time, for ever."""
    noted = os.open(folder / "committed", os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
    dice = random.Random(life)
    number = 0
    while True:
        batch = []
        for _ in range(dice.choice([1, 1, 1, 2, 5])):
            operator = dice.choice(["Ida", 'Ida, "I"', "a\r\nb", "=1+1", "Ω"])
            serial = f"L{life}-{number}"
            batch.append((verdict(serial=serial, operator=operator, utc_s=time.time()), EVIDENCE))
            number += 1
        await journal.append([*batch, (NOTICE, None)] if dice.random() < 0.2 else batch)
        os.write(noted, "".join(f"{record.serial}\n" for record, _ in batch).encode())
        await asyncio.sleep(PAUSE_S)


def lives(folder, kills):
    """Numbers of the lives; more than were asked for where a busy machine has let them do little. Last -1."""
    for life in range(20 * kills):
        file = folder / "committed"
        if life >= kills and file.exists() and len(file.read_text().split()) > WORK_A_LIFE * kills:
            break
        yield life
    yield -1


def main():
    folder, port, kills, seed = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4])
    structlog.configure(logger_factory=structlog.PrintLoggerFactory(sys.stderr))
    dice = random.Random(seed)
    ended_early = 0
    for life in lives(folder, kills):
        victim = os.fork()
        if victim == 0:
            code = 1
            try:
                asyncio.run(live(folder, port, life))
                code = 0
            finally:
                os._exit(code)
        if life >= 0:
            time.sleep(dice.uniform(0.0, LONGEST_LIFE_S))
            os.kill(victim, signal.SIGKILL)
        _, status = os.waitpid(victim, 0)
        if life >= 0:
            ended_early += os.WIFEXITED(status)
        else:
            print(json.dumps({"ended_early": ended_early, "last": os.waitstatus_to_exitcode(status)}))


if __name__ == "__main__":
    main()
