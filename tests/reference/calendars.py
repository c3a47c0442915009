"""Reads a calendar file with two independent parsers, or expands repeat rules with a third. Input on stdin, JSON out.

    calendars.py events < FILE      {"icalendar": [[uid, sequence, start, end, summary, status]], "vobject": the same}
    calendars.py days   < JSON      [[rule, start, last], ...] -> [[day, ...], ...]
"""

import datetime
import json
import signal
import sys
import warnings

import icalendar
import vobject
from dateutil import rrule


def unix(moment):
    return int(moment.timestamp())


def with_icalendar(text):
    calendar = icalendar.Calendar.from_ical(text)
    assert not calendar.get_missing_tzids(), "a zone is named that the file doesn't explain"
    found = []
    for event in calendar.walk("VEVENT"):
        found.append(
            [
                str(event["UID"]),
                int(event["SEQUENCE"]),
                unix(event.decoded("DTSTART")),
                unix(event.decoded("DTEND")),
                str(event["SUMMARY"]),
                str(event["STATUS"]),
            ]
        )
    return {"method": str(calendar["METHOD"]), "events": found}


def with_vobject(text):
    calendar = vobject.readOne(text)
    found = []
    for event in calendar.contents.get("vevent", []):
        found.append(
            [
                event.uid.value,
                int(event.sequence.value),
                unix(event.dtstart.value),
                unix(event.dtend.value),
                event.summary.value,
                event.status.value,
            ]
        )
    return {"method": calendar.method.value, "events": found}


def days(rule, start, last):
    start = datetime.datetime.fromisoformat(start)
    last = datetime.datetime.fromisoformat(last)
    # A rule that names no day is followed to the year 9999.
    def too_long(*_):
        raise TimeoutError(f"{rule} from {start} names no day")

    signal.signal(signal.SIGALRM, too_long)
    signal.alarm(20)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return [moment.date().isoformat() for moment in rrule.rrulestr(rule, dtstart=start).replace(until=last)]


if sys.argv[1] == "events":
    text = sys.stdin.buffer.read().decode()
    print(json.dumps({"icalendar": with_icalendar(text), "vobject": with_vobject(text)}))
else:
    print(json.dumps([days(*case) for case in json.load(sys.stdin)]))
