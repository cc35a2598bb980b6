"""The dashboard's server ends when it is told to, whatever a browser does, and takes a click once."""

import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest
import streamlit
from dyntest_dashboard import state

SHEET = Path(__file__).parents[2] / "sample_signals" / "pier_2_clay" / "sheet.toml"

PATIENT = """
import sys
from dyntest import cli
cli.SERVER_STOPS = 0.5
cli.main(["dashboard", sys.argv[1], "--port", sys.argv[2], "--no-browser"])
"""


@pytest.mark.skipif(not hasattr(signal, "SIGUSR1"), reason="this system has no such signal")
def test_a_browser_that_no_longer_reads_does_not_keep_the_server(until):
    with socket.create_server(("127.0.0.1", 0)) as trial:
        port = trial.getsockname()[1]
    script = max((Path(streamlit.__file__).parent / "static").rglob("*.js"), key=lambda path: path.stat().st_size)
    asked = f"GET /static/js/{script.name} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n"
    words = [sys.executable, "-c", PATIENT, str(SHEET), str(port)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as server:
        try:
            browser = socket.socket()
            browser.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)  # the rest waits in the server
            until(lambda: not browser.connect_ex(("127.0.0.1", port)), "the server's answer")
            browser.sendall(asked.encode())
            assert browser.recv(12).endswith(b"200")
            server.send_signal(signal.SIGINT)
            assert server.wait(45) == 0  # before the time after which it would be killed
        finally:
            browser.close()
            if server.poll() is None:
                server.send_signal(signal.SIGTERM)


def test_a_click_that_is_called_back_again_before_the_page_is_drawn_counts_once(monkeypatch):
    monkeypatch.setattr(state.st, "session_state", {})
    counted = []
    for _ in range(2):  # two clicks
        state.begin_page()
        for _ in range(2):  # each called back twice
            state.once("depth", counted.append)(1)
        state.once("remark", counted.append)(2)
    assert counted == [1, 2, 1, 2]
