"""The bytes of a meter and what is made of them, live: from a peer made of nothing but a socket."""

from __future__ import annotations

import signal
import socketserver
import subprocess
import sys
import threading
import time

import pytest

from tests.whole_bench import Lines, bench_file

SAYS = (b"12\r\n", b"204.4 ohm\r\n", b"+2.0E+02 PARSEC\r\n", b"------\r\n", b"OL ohm HLD\r\n")


class Odd(socketserver.BaseRequestHandler):
    """Sends the same lines again and again."""

    def handle(self):
        try:
            while True:
                for line in SAYS:
                    self.request.sendall(line)
                    time.sleep(0.02)
        except OSError:
            return


@pytest.fixture
def odd_meter():
    with socketserver.ThreadingTCPServer(("127.0.0.1", 0), Odd) as server:
        server.daemon_threads = True
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"tcp:127.0.0.1:{server.server_address[1]}"
        server.shutdown()


def test_what_a_meter_says_is_shown_with_what_is_made_of_it_until_ctrl_c(odd_meter, tmp_path):
    """Good lines, refused ones with the option that would cure them, and words that the bench file states."""
    words = 'options = { overload_words = ["------"], flag_words = { HLD = "hold" } }'
    changes = (('driver = "scpi"', 'driver = "lines"'), ("integration_plc = 1.0", words))
    file = bench_file(tmp_path, meter=odd_meter, changes=changes)
    command = [sys.executable, "-m", "acquire", "meter-says", str(file)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        lines = Lines(process.stdout)
        lines.until("Ctrl-C ends it")
        good = lines.until("resistance: 204.4 ohm, count 0.1 ohm")
        assert good.startswith("32 30 34 2e 34 20 6f 68 6d  “204.4 ohm”")
        lines.until("no reading: the line names no unit: state quantity")
        lines.until("no reading: '+2.0E+02 PARSEC' is no number with a unit known here")
        assert "resistance: overload" in lines.until("“------”")
        assert lines.until("“OL ohm HLD”").rstrip().endswith("resistance: overload, hold")
        process.send_signal(signal.SIGINT)
        assert process.wait(20) == 0
