//! Every change of the clocks from 2020 to 2040 in twelve zones, against Python's `zoneinfo`.

use std::{collections::BTreeMap, process::Command};

use palpebra::domain::zone::{CivilRefused, Zone, database_version, days};
use serde::Deserialize;
use time::{Date, Duration, OffsetDateTime, PrimitiveDateTime, macros::date};

/// Whole hours (Berlin, New York, Dublin with its negative summer time), half an hour (Lord Howe), two hours (Troll),
/// quarter-hour offsets (Chatham), changes at midnight (Santiago, Asunción, Beirut, Cairo), four changes a year
/// (Casablanca), and a single change for good (Almaty).
const ZONES: [&str; 12] = [
    "Africa/Cairo",
    "Africa/Casablanca",
    "America/Asuncion",
    "America/New_York",
    "America/Santiago",
    "Antarctica/Troll",
    "Asia/Almaty",
    "Asia/Beirut",
    "Australia/Lord_Howe",
    "Europe/Berlin",
    "Europe/Dublin",
    "Pacific/Chatham",
];

#[derive(Deserialize)]
struct Reference {
    version: String,
    zones: BTreeMap<String, ZoneReference>,
}

#[derive(Deserialize)]
struct ZoneReference {
    start: i64,
    changes: Vec<(i64, i64)>,
    civil: Vec<(i64, Vec<i64>)>,
}

fn reference() -> Reference {
    let python = std::env::var_os("PALPEBRA_PYTHON").expect("run this test through tests/run, which installs Python");
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/zones.py");
    let output = Command::new(python).arg(script).args(ZONES).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn instant(unix: i64) -> OffsetDateTime {
    OffsetDateTime::from_unix_timestamp(unix).unwrap()
}

fn civil(local: i64) -> PrimitiveDateTime {
    let moment = instant(local);
    PrimitiveDateTime::new(moment.date(), moment.time())
}

fn offset(zone: &Zone, unix: i64) -> i64 {
    (zone.to_civil(instant(unix)).assume_utc() - instant(unix)).whole_seconds()
}

/// The changes of the clocks as the program sees them, found by looking every third hour and halving.
fn changes(zone: &Zone, first: i64, last: i64) -> Vec<(i64, i64)> {
    let mut found = Vec::new();
    let step = 3 * 3600;
    let mut before = offset(zone, first);
    for second in (first..last).step_by(usize::try_from(step).unwrap()) {
        let after = offset(zone, second + step);
        if before != after {
            let (mut low, mut high) = (second, second + step);
            while high - low > 1 {
                let middle = i64::midpoint(low, high);
                if offset(zone, middle) == before { low = middle } else { high = middle }
            }
            found.push((high, after));
            before = after;
        }
    }
    found
}

/// How long each day that is not 24 hours long is, from the changes that the reference lists.
fn odd_days(reference: &ZoneReference) -> BTreeMap<Date, Duration> {
    let mut odd = BTreeMap::new();
    let mut before = reference.start;
    for (second, after) in &reference.changes {
        // The day that loses or gains the time is that of the first of the two clock times at the change: clocks
        // that go back from midnight repeat the last hour of the day that ends, clocks that go forward from midnight
        // lack the first hour of the day that begins.
        let date = civil(second + before.min(*after)).date();
        *odd.entry(date).or_insert(Duration::DAY) += Duration::seconds(before - after);
        before = *after;
    }
    odd.retain(|_, length| *length != Duration::DAY);
    odd
}

#[test]
fn every_change_of_the_clocks_agrees_with_python() {
    let reference = reference();
    assert_eq!(reference.version, database_version(), "tests/reference/zones.txt names another zone database");
    let (first, last) = (date!(2020 - 01 - 01), date!(2041 - 01 - 01));
    let unix = |date: Date| date.midnight().assume_utc().unix_timestamp();
    let mut probes = 0;
    for name in ZONES {
        let zone = Zone::parse(name).unwrap();
        let expected = &reference.zones[name];
        assert_eq!(offset(&zone, unix(first)), expected.start, "{name}");
        assert_eq!(changes(&zone, unix(first), unix(last)), expected.changes, "{name}");
        for (local, instants) in &expected.civil {
            let wanted = match instants[..] {
                [] => Err(CivilRefused::Missing),
                [once] => Ok(instant(once)),
                _ => Err(CivilRefused::Twice),
            };
            assert_eq!(zone.to_instant(civil(*local)), wanted, "{name} {}", civil(*local));
            for unix in instants {
                assert_eq!(zone.to_civil(instant(*unix)), civil(*local), "{name} {unix}");
            }
            probes += 1;
        }
        let odd: BTreeMap<_, _> = days(first, 7670)
            .map(|date| (date, zone.day_length(date)))
            .filter(|(_, length)| *length != Duration::DAY)
            .collect();
        assert_eq!(odd, odd_days(expected), "{name}");
    }
    assert!(probes > 30_000, "{probes}");
}
