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
    """Where it answers, its process, and what it has said."""

    address: str
    pid: int
    log: Path


@contextlib.contextmanager
def served(workspace, *options, script=ROOT / "app.py"):
    log = Path(workspace) / ".server.log"
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with log.open("wb") as out:
        server = subprocess.Popen(
            [sys.executable, "-m", "streamlit", "run", script, f"--server.port={port}", *options],
            cwd=ROOT,
            env={**os.environ, "FIELDMAP_WORKSPACE": str(workspace)},
            stdout=out,
            stderr=out,
        )
    try:
        for _ in range(300):
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
                break
            time.sleep(0.1)
        yield Served(f"http://127.0.0.1:{port}", server.pid, log)
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
