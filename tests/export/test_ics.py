"""actions.ics against RFC 5545 by a second library, which did not write it."""

import datetime as dt

import vobject

from fieldmap.export.formats.ics import write_calendar


def test_every_day_of_the_list_is_an_all_day_event(kettle_bend_result, tmp_path):
    result, file = kettle_bend_result, tmp_path / "actions.ics"
    write_calendar(result, result.applications[0], file)
    text = file.read_bytes()
    assert text.startswith(b"BEGIN:VCALENDAR\r\n")
    assert all(
        len(line) <= 75 for line in text.split(b"\r\n")
    )  # RFC 5545, 3.1: lines are folded at 75 octets
    assert b"VALARM" not in text
    calendar = vobject.readOne(text.decode())
    events = calendar.vevent_list
    told = [(one, words) for one, words in zip(result.actions, result.action_texts, strict=True) if one.day]
    assert len(events) == len(told) >= 5
    for event, (one, words) in zip(events, told, strict=True):
        assert event.dtstart.value == one.day
        assert event.dtend.value == one.day + dt.timedelta(days=1)
        assert event.dtstart.params == {"VALUE": ["DATE"]}
        assert event.summary.value == f"{result.plan.name}: {words.what}"
        assert event.description.value == words.line
        assert event.dtstamp.value.tzinfo is not None
    assert len({event.uid.value for event in events}) == len(events)


def test_the_same_plan_keeps_its_identifiers(kettle_bend_result, tmp_path, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1780000000")
    for name in ("one.ics", "two.ics"):
        write_calendar(kettle_bend_result, kettle_bend_result.applications[0], tmp_path / name)
    assert (tmp_path / "one.ics").read_bytes() == (tmp_path / "two.ics").read_bytes()
