"""Lines from a descriptor."""

import os
import threading

from system.incoming import LONGEST_LINE, read_lines


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
