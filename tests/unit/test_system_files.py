"""Files as each system wants them."""

import os
import subprocess
import sys

from system.files import OWN, lock, others_may_read, sync_folder

TRIES = """
import os, sys
from system.files import lock
number = os.open(sys.argv[1], os.O_RDWR)
print(lock(number), flush=True)
sys.stdin.read()
"""


def test_one_process_has_a_file_to_itself_until_it_ends(tmp_path):
    """Even on a number that was opened for reading only; killed or not."""
    file = tmp_path / "lock"
    file.touch()
    pipe = subprocess.PIPE
    with subprocess.Popen([sys.executable, "-c", TRIES, file], stdin=pipe, stdout=pipe) as other:
        assert other.stdout.readline() == b"True\n"
        number = os.open(file, os.O_RDONLY | OWN)
        assert not lock(number)
        other.kill()
        other.wait(5)
        assert lock(number)
        os.close(number)


def test_whether_others_may_read_is_told_by_the_modes(tmp_path):
    file = tmp_path / "secret"
    for mode, told in ((0o600, False), (0o640, True), (0o604, True)):
        file.touch()
        file.chmod(mode)
        with file.open("rb") as opened:
            assert others_may_read(opened.fileno()) is told
    sync_folder(tmp_path)
