"""How far each journal is complete in the line's database: arrivals counted, gaps waited for.

Batches of several collectors come in any order, so each only notes which stretches of a journal it has
brought; one collector at a time joins them here. Not for entries (store).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import psycopg

from acquire.line.incoming import Stretch, complete_upto

AT_ONCE = 20_000
"""Arrivals that are counted in one go."""


@dataclass(frozen=True, slots=True)
class Complete:
    """A journal of which the database holds everything up to an entry."""

    bench: str
    journal: str
    seq: int


async def count_arrivals(connection: psycopg.AsyncConnection) -> list[Complete]:
    """Take in what has arrived: it becomes numbers of `journal`; what is behind a gap stays, joined.

    Args:
        connection: inside a transaction, of the one collector whose turn it is.

    Returns:
        The journals that are complete further than before, or new.

    Raises:
        psycopg.Error: nothing has changed.
    """
    found = await connection.execute(
        "SELECT number, bench, journal, after, upto, latest FROM steadyohm.arrival ORDER BY number LIMIT %s",
        (AT_ONCE,),
    )
    arrivals: dict[tuple[str, str], list[tuple[int, Stretch, datetime | None]]] = {}
    for number, bench, journal, after, upto, latest in await found.fetchall():
        arrivals.setdefault((bench, journal), []).append((number, Stretch(after, upto), latest))
    if not arrivals:
        return []
    found = await connection.execute("SELECT bench, journal, kept FROM steadyohm.journal")
    kept = {(bench, journal): upto for bench, journal, upto in await found.fetchall()}
    done: list[int] = []
    rows, waiting, news = [], [], []
    for at, came in arrivals.items():
        now, behind = complete_upto(kept.get(at, 0), [stretch for _, stretch, _ in came])
        latest = max((time for _, _, time in came if time is not None), default=None)
        if len(behind) < len(came) or at not in kept:
            done += [number for number, _, _ in came]
            waiting += [(*at, stretch.after, stretch.upto) for stretch in behind]
            rows.append((*at, now, latest))
        if now > kept.get(at, -1):
            news.append(Complete(*at, now // 2))
    await _write_down(connection, done, rows, waiting)
    return news


async def _write_down(
    connection: psycopg.AsyncConnection,
    done: list[int],
    rows: list[tuple[str, str, int, datetime | None]],
    waiting: list[tuple[str, str, int, int]],
) -> None:
    if rows:
        await connection.execute(
            "INSERT INTO steadyohm.journal AS j (bench, journal, kept, latest)"
            " SELECT * FROM unnest(%s::text[], %s::text[], %s::bigint[], %s::timestamptz[])"
            " ON CONFLICT (bench, journal) DO UPDATE SET kept = greatest(j.kept, excluded.kept),"
            " latest = greatest(j.latest, excluded.latest)",
            [list(column) for column in zip(*rows, strict=True)],
        )
        await connection.execute("DELETE FROM steadyohm.arrival WHERE number = ANY(%s)", (done,))
    if waiting:
        await connection.execute(
            "INSERT INTO steadyohm.arrival (bench, journal, after, upto)"
            " SELECT * FROM unnest(%s::text[], %s::text[], %s::bigint[], %s::bigint[])",
            [list(column) for column in zip(*waiting, strict=True)],
        )
