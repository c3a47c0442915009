"""What Python's zoneinfo says about every change of the clocks from 2020 to 2040, as JSON.

Usage: zones.py ZONE...   (the zone database is that of the tzdata package, not that of the system)

For each zone: "start" is the offset at 2020-01-01T00:00Z, "changes" lists [Unix second, offset from then on], and
"civil" lists [civil time as seconds since 1970-01-01T00:00 of civil time, [Unix seconds it may mean]] for every fifth
minute from two and a half hours before each change to two and a half hours after it, on the clocks of both sides, and
for noon of every tenth day.
"""

import json
import sys
import zoneinfo
from datetime import datetime, timedelta, timezone

import tzdata

zoneinfo.reset_tzpath(to=[])
EPOCH = datetime(1970, 1, 1)
FIRST = datetime(2020, 1, 1)
LAST = datetime(2041, 1, 1)


def unix(civil):
    return int((civil - EPOCH).total_seconds())


def offset(zone, second):
    moment = EPOCH.replace(tzinfo=timezone.utc) + timedelta(seconds=second)
    return int(moment.astimezone(zone).utcoffset().total_seconds())


def changes(zone):
    step = 3 * 3600
    before = offset(zone, unix(FIRST))
    for second in range(unix(FIRST), unix(LAST), step):
        after = offset(zone, second + step)
        if after != before:
            low, high = second, second + step
            while high - low > 1:
                middle = (low + high) // 2
                if offset(zone, middle) == before:
                    low = middle
                else:
                    high = middle
            yield high, before, after
            before = after


def meanings(zone, second):
    civil = EPOCH + timedelta(seconds=second)
    found = set()
    for fold in (0, 1):
        moment = civil.replace(tzinfo=zone, fold=fold).astimezone(timezone.utc)
        if moment.astimezone(zone).replace(tzinfo=None) == civil:
            found.add(unix(moment.replace(tzinfo=None)))
    return sorted(found)


def report(name):
    zone = zoneinfo.ZoneInfo(name)
    found = list(changes(zone))
    probes = set(range(unix(FIRST) + 43200, unix(LAST), 10 * 86400))
    for second, before, after in found:
        centre = second // 300 * 300
        low, high = min(before, after), max(before, after)
        probes.update(range(centre + low - 9000, centre + high + 9000, 300))
    return {
        "start": offset(zone, unix(FIRST)),
        "changes": [[second, after] for second, _, after in found],
        "civil": [[probe, meanings(zone, probe)] for probe in sorted(probes)],
    }


print(json.dumps({"version": tzdata.IANA_VERSION, "zones": {name: report(name) for name in sys.argv[1:]}}))
