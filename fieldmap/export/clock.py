"""The time that files carry."""

from __future__ import annotations

import datetime as dt
import os


def now() -> dt.datetime:
    """UTC; with SOURCE_DATE_EPOCH set, that moment, so that the same run writes the same bytes."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH")
    return dt.datetime.fromtimestamp(int(epoch), dt.UTC) if epoch else dt.datetime.now(dt.UTC)
