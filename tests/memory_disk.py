"""A folder in memory, for tests that sync thousands of times. Not a test itself."""

import tempfile
from pathlib import Path

SHARED_MEMORY = Path("/dev/shm")  # noqa: S108  (only a place; the folder in it gets a name of its own)


def folder_in_memory(tmp_path):
    """To be made a fixture: a fresh folder in memory; on the disk where the machine has no such place."""
    if not SHARED_MEMORY.is_dir():
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(dir=SHARED_MEMORY) as folder:
        yield Path(folder)
