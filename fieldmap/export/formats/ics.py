"""actions.ics: the list of what to do for a calendar, RFC 5545; all-day events without alarms."""

from __future__ import annotations

import datetime as dt
import hashlib
from typing import TYPE_CHECKING

from fieldmap.actions import Spread
from fieldmap.export.reproducible import now

if TYPE_CHECKING:
    from pathlib import Path

    from fieldmap.actions import Action
    from fieldmap.pipeline import Result
    from fieldmap.verdict import ApplicationMap


def write_calendar(result: Result, _one: ApplicationMap, path: Path) -> None:
    """Write an event for each line of the list that has a day: on that day, the last of those it can be done on.

    The stretch of days stands in its description. The same thing to do on the same field in the same season keeps its
    identifier whatever else of the plan changes, so that a calendar replaces what it took in before; its stamp is the
    day.
    """
    import icalendar  # takes longer to import than all data files to write

    calendar = icalendar.Calendar()
    calendar.add("version", "2.0")
    calendar.add("prodid", "-//fieldmap//what to do//EN")
    for one, text in zip(result.actions, result.action_texts, strict=True):
        if one.day is None:
            continue
        event = icalendar.Event()
        event.add("uid", f"{_identifier(result, one)}@fieldmap")
        event.add("dtstamp", now().replace(hour=0, minute=0, second=0, microsecond=0))
        event.add("dtstart", one.day)
        event.add("dtend", one.day + dt.timedelta(days=1))  # the day after: an end is not counted
        event.add("summary", f"{result.plan.name}: {text.what}")
        event.add("description", text.line)
        event.add("transp", "TRANSPARENT")  # a busy day is not a full one
        calendar.add_component(event)
    path.write_bytes(calendar.to_ical())


def _identifier(result: Result, one: Action) -> str:
    """Of the farm, the field, the season, and the thing to do."""
    plan = result.plan
    season = min(plan.crop_of(block).planted.year for block in one.blocks)
    number = one.number if isinstance(one, Spread) else 0
    told = (plan.customer, plan.farm, plan.name, season, type(one).__name__, number, *one.blocks)
    return hashlib.sha256("\n".join(map(str, told)).encode()).hexdigest()[:32]
