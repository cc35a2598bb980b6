"""Starts the dashboard's server on this computer only; ``dyntest dashboard`` runs it."""

import atexit
import os
import signal
import sys
import threading
from importlib import import_module
from multiprocessing import active_children
from pathlib import Path
from typing import NoReturn

APP = Path(__file__).parent / "app.py"

OPTIONS = {
    "server.address": "127.0.0.1",
    "server.fileWatcherType": "none",
    "server.maxUploadSize": "200",
    "server.showEmailPrompt": "false",
    "browser.gatherUsageStats": "false",
    "client.showErrorDetails": "none",
    "client.toolbarMode": "viewer",
    "runner.magicEnabled": "false",
    "logger.hideWelcomeMessage": "true",
}
"""Settings that apply wherever the program is started: local, private, no traceback on a page, and no advice of the
server's makers to programmers, which would lie over the pages.

The rest, such as colours, is in ``.streamlit/config.toml`` beside the app.
"""

WARMED = ("altair", "dyntest.reading.sheet", "dyntest.presenting.sentences", "dyntest.presenting.frames_match")
"""Modules that take a second to load; they are loaded while the browser opens."""


def warm() -> None:
    """Load what the pages need, so that the first page opens sooner."""
    for name in WARMED:
        import_module(name)


def serve(port: int, *, open_browser: bool) -> None:
    """Run the server until it is stopped."""
    options = {**OPTIONS, "server.port": str(port), "server.headless": str(not open_browser).lower()}
    flags = [f"--{name}={value}" for name, value in options.items()]
    threading.Thread(target=warm, daemon=True).start()
    if hasattr(signal, "SIGUSR1"):  # told by the command when a browser keeps a connection open
        signal.signal(signal.SIGUSR1, lambda *_: end_process(0))
    from streamlit.web import cli

    print(f"The dashboard is at http://127.0.0.1:{port} (on this computer only). Ctrl-C stops it.")
    sys.stdout.flush()
    sys.argv = ["streamlit", "run", str(APP), *flags]
    status: str | int | None = 0
    try:
        cli.main()
    except SystemExit as left:
        status = left.code
    end_process(status if isinstance(status, int) else 0 if status is None else 1)


def end_process(status: int) -> NoReturn:
    """End the server's process and its workers at once; uploaded files are removed."""
    for number in (signal.SIGINT, signal.SIGTERM):  # a second one must not disturb what is left to do
        signal.signal(number, signal.SIG_IGN)
    for worker in active_children():  # do not wait for matching that is still running
        worker.terminate()
    atexit._run_exitfuncs()  # removes uploaded files
    os._exit(status)


if __name__ == "__main__":
    serve(int(os.environ.get("DYNTEST_PORT", "8501")), open_browser=os.environ.get("DYNTEST_BROWSER") == "yes")
