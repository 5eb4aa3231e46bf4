"""The app as `streamlit run app.py` starts it, on a free port of this machine."""

import contextlib
import os
import socket
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import expect

ROOT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Served:
    """Where it answers, and its process."""

    address: str
    pid: int


@contextlib.contextmanager
def served(workspace, *options):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = subprocess.Popen(
        [sys.executable, "-m", "streamlit", "run", ROOT / "app.py", f"--server.port={port}", *options],
        env={**os.environ, "FIELDMAP_WORKSPACE": str(workspace)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        for _ in range(300):
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
                break
            time.sleep(0.1)
        yield Served(f"http://127.0.0.1:{port}", server.pid)
    finally:
        server.terminate()
        server.wait()


def dropper(page):
    """Where files of any kind are dropped: a page appears part by part, each with an input of its own."""
    box = page.get_by_test_id("stFileUploader").filter(has_text="Drop files here")
    expect(box).to_have_count(
        1, timeout=30_000
    )  # an emptied box stands beside the old one until the page is drawn
    return box.locator("input[type=file]")
