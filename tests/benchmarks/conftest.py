"""One table of everything measured, with ratios that a slower machine leaves as they are.

A ratio is a time over that of a yardstick taken right beside it on the same machine, or over that of a reference
library where the row names one. `kept.json` holds the ratios of the last kept run: a row that comes to more than
1.5 times its own says so. ``python -m pytest -m benchmark -s tests/benchmarks --keep`` keeps this run's.
"""

from __future__ import annotations

import json
import os
import platform
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from statistics import median

import numpy as np
import pytest

KEPT = Path(__file__).with_name("kept.json")
SLOWER = 1.5
ROWS: list[Row] = []


@dataclass(frozen=True)
class Row:
    """A line of the table; `ratio` is None where there is nothing to compare with a later run."""

    what: str
    measured: str
    ratio: float | None
    limit: str


def pytest_addoption(parser):
    parser.addoption("--keep", action="store_true", help="keep this run's ratios to compare later ones with")


def yardstick_s() -> float:
    """Seconds of a fixed piece of work in Python and numpy: as fast as the machine is at this moment."""
    values = np.random.default_rng(0).random(500_000)
    times = []
    for _ in range(7):
        start = time.perf_counter()
        for _ in range(15):
            np.exp(-values).sum()
        sorted(values[:250_000].tolist())
        times.append(time.perf_counter() - start)
    return median(times)


@pytest.fixture
def bench():
    """Note a row: what was measured, its seconds, and the limit it is held against."""

    def note(what, seconds=None, *, limit="", measured=None, ratio=None):
        shown = measured if measured is not None else f"{seconds:.2f} s"
        if ratio is None and seconds is not None:
            ratio = seconds / yardstick_s()
        ROWS.append(Row(what, shown, ratio, limit))
        print(f"\n{what}: {shown}{f' (limit {limit})' if limit else ''}")

    return note


@pytest.fixture
def child():
    """Run a command to its end; give its seconds and its peak memory, MB."""

    def run(command, *, codes=(0,), **options):
        start = time.perf_counter()
        process = subprocess.Popen(
            [str(each) for each in command], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, **options
        )
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        assert process.returncode in codes, command
        scale = 1024 if sys.platform == "linux" else 1024**2
        return time.perf_counter() - start, used.ru_maxrss / scale

    return run


def machine() -> str:
    lines = Path("/proc/cpuinfo").read_text().splitlines() if Path("/proc/cpuinfo").exists() else []
    names = [line.split(":")[1].strip() for line in lines if line.startswith("model name")]
    return (
        f"{names[0] if names else platform.processor()}, {os.cpu_count()} processors, "
        f"Python {platform.python_version()}, numpy {np.__version__}, load {os.getloadavg()[0]:.1f}"
    )


def pytest_terminal_summary(terminalreporter, config):
    """The table, and what has become slower."""
    if not ROWS:
        return
    kept = json.loads(KEPT.read_text())["ratios"] if KEPT.exists() else {}
    lines = [("what", "measured", "limit", "ratio", "kept", "")]
    for row in ROWS:
        before = kept.get(row.what)
        slower = row.ratio is not None and before is not None and row.ratio > SLOWER * before
        lines.append(
            (
                row.what,
                row.measured,
                row.limit,
                "" if row.ratio is None else f"{row.ratio:.2f}",
                "" if before is None else f"{before:.2f}",
                f"SLOWER: {row.ratio / before:.1f} times the kept ratio" if slower else "",
            )
        )
    widths = [max(len(line[k]) for line in lines) for k in range(6)]
    terminalreporter.section(f"measured on {machine()}")
    for line in lines:
        terminalreporter.write_line(
            "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True))
        )
    terminalreporter.write_line(
        f"ratio: over a yardstick of {yardstick_s():.3f} s, or over the library named"
    )
    if config.getoption("--keep"):
        kept |= {row.what: round(row.ratio, 4) for row in ROWS if row.ratio is not None}
        told = {"last_kept_on": machine(), "ratios": kept}
        KEPT.write_text(json.dumps(told, indent=1, ensure_ascii=False) + "\n")
        terminalreporter.write_line(f"kept in {KEPT.name}")
