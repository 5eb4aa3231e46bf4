"""report.pdf and card.pdf."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap.export.reproducible import now
from fieldmap.report import pdf

if TYPE_CHECKING:
    from pathlib import Path

    from fieldmap.pipeline import Result
    from fieldmap.verdict import ApplicationMap


def write_report(result: Result, _one: ApplicationMap, path: Path) -> None:
    """Write the report."""
    path.write_bytes(pdf.build_report(result, date=now().date()))


def write_card(result: Result, _one: ApplicationMap, path: Path) -> None:
    """Write the one-page card."""
    path.write_bytes(pdf.build_card(result, date=now().date()))
