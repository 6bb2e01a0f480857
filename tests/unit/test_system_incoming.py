"""Lines from a file by its number, watched by the loop or read by a thread."""

import asyncio
import contextlib
import os
import threading

from system.incoming import LONGEST_LINE, pieces, read_lines


async def test_lines_come_without_their_ends():
    """Until the input ends."""
    reading, writing = os.pipe()
    os.write(writing, b"unit good\n\n 1 2 \nlift")
    os.close(writing)
    assert [line async for line in read_lines(reading)] == ["unit good", "1 2", "lift"]
    os.close(reading)


async def test_an_endless_line_ends_the_input():
    """Its memory stays small."""
    reading, writing = os.pipe()

    def pour():
        try:
            while True:
                os.write(writing, b"x" * 4096)
        except BrokenPipeError:
            os.close(writing)

    pouring = threading.Thread(target=pour)
    pouring.start()
    lines = [line async for line in read_lines(reading)]
    os.close(reading)
    pouring.join()
    assert all(len(line) <= LONGEST_LINE for line in lines)


async def test_a_plain_file_is_read_to_its_end(tmp_path):
    """Which no loop can wait for."""
    file = tmp_path / "words"
    file.write_bytes(b"1 2\r\nlift")
    with file.open("rb") as opened:
        assert [line async for line in read_lines(opened.fileno())] == ["1 2", "lift"]


async def test_where_the_loop_cannot_watch_a_thread_reads(monkeypatch):
    """Piece by piece; what comes after one has stopped listening is for whoever listens next."""

    def not_here(*_):
        raise NotImplementedError

    monkeypatch.setattr(asyncio.get_running_loop(), "add_reader", not_here)
    reading, writing = os.pipe()
    try:
        async with contextlib.aclosing(pieces(reading)) as first:
            os.write(writing, b"A1\n")
            assert await anext(first) == b"A1\n"
            waits = asyncio.ensure_future(anext(first))
            await asyncio.sleep(0.01)
            waits.cancel()
            await asyncio.gather(waits, return_exceptions=True)
        os.write(writing, b"A2\nA3")
        os.close(writing)
        assert [line async for line in read_lines(reading)] == ["A2", "A3"]
    finally:
        os.close(reading)
