//! The retouch list: for which services a client keeps returning, and in which order the list stands.

use std::cmp::Reverse;
use std::collections::BTreeSet;

use time::Date;

use super::catalogue::ServiceKind;
use super::ids::ClientId;
use super::window::{RetouchRule, Window, WindowState, parts, window_of_service};

/// A treatment as the list looks at it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Done {
    /// The service, as its place in the caller's list of services.
    pub service: usize,
    /// What kind it is.
    pub kind: ServiceKind,
    /// The day on the studio's calendar.
    pub on: Date,
}

/// The services that a client keeps returning for: of every single kind that she ever had (a lift, a tint) the service
/// in which she had it last, with its last day. Each service is there once. `done` is ordered by time.
pub fn returns(done: &[Done]) -> Vec<Done> {
    let mut found: Vec<Done> = Vec::new();
    for single in ServiceKind::ALL.into_iter().filter(|&kind| parts(kind) == [kind]) {
        let newest = done.iter().rev().find(|one| parts(one.kind).contains(&single));
        let known = |one: &&Done| found.iter().all(|known| known.service != one.service);
        found.extend(newest.filter(known).copied());
    }
    found
}

/// Of every single kind that she ever had the two newest days, which are all that a window looks at.
pub fn newest_days(done: &[Done]) -> BTreeSet<(ServiceKind, Date)> {
    let mut found = BTreeSet::new();
    for single in ServiceKind::ALL.into_iter().filter(|&kind| parts(kind) == [kind]) {
        let days: BTreeSet<Date> =
            done.iter().filter(|one| parts(one.kind).contains(&single)).map(|one| one.on).collect();
        found.extend(days.into_iter().rev().take(2).map(|day| (single, day)));
    }
    found
}

/// One client and one service, with her window for it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// Whose.
    pub client: ClientId,
    /// For which service, as its place in the caller's list of services.
    pub service: usize,
    /// When she had it last.
    pub last: Date,
    /// When she may and should return.
    pub window: Window,
}

/// The lines of one client. `rule` gives the rule of a single kind as a service sees it. `done` is ordered by time.
///
/// Waits from health answers are not in these windows: they can only move a day later, and are judged when she books and
/// before she is treated.
pub fn lines<'a>(
    client: &ClientId,
    done: &[Done],
    rule: impl Fn(usize, ServiceKind) -> Option<&'a RetouchRule>,
) -> Vec<Line> {
    let visits: Vec<(ServiceKind, Date)> = done.iter().map(|one| (one.kind, one.on)).collect();
    let line = |Done { service, kind, on }| {
        let window = window_of_service(kind, &visits, |part| rule(service, part), &[])?;
        Some(Line { client: client.clone(), service, last: on, window })
    };
    returns(done).into_iter().filter_map(line).collect()
}

/// The key that puts first whom the studio should write to first, from a window's state and its edges: those who are
/// due, the longest first; then the open, the longest first; then those to come, the next first; then the lapsed, the
/// latest first.
pub fn urgency_of(
    state: WindowState,
    opens: Date,
    due: Date,
    lapsed: Date,
) -> (u8, Option<Date>, Option<Reverse<Date>>) {
    match state {
        WindowState::Due => (0, Some(due), None),
        WindowState::Open => (1, Some(opens), None),
        WindowState::NotYet => (2, Some(opens), None),
        WindowState::Lapsed => (3, None, Some(Reverse(lapsed))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::window::{IntervalRule, Wait, window};
    use proptest::prelude::*;
    use time::macros::date;
    use time::{Duration, ext::NumericalDuration};

    const LIFT: usize = 0;
    const BOTH: usize = 1;
    const TINT: usize = 2;
    const BROW: usize = 3;
    const KINDS: [ServiceKind; 4] =
        [ServiceKind::LashLift, ServiceKind::LiftAndTint, ServiceKind::LashTint, ServiceKind::BrowTint];

    fn done(visits: &[(usize, i64)]) -> Vec<Done> {
        let one = |&(service, day): &(usize, i64)| Done {
            service,
            kind: KINDS[service],
            on: date!(2026 - 01 - 01) + Duration::days(day),
        };
        visits.iter().map(one).collect()
    }

    fn services(visits: &[(usize, i64)]) -> Vec<usize> {
        returns(&done(visits)).iter().map(|one| one.service).collect()
    }

    #[test]
    fn she_returns_for_what_she_had_last_of_each_kind() {
        assert!(services(&[]).is_empty());
        assert_eq!(services(&[(LIFT, 0), (LIFT, 50)]), [LIFT]);
        assert_eq!(services(&[(LIFT, 0), (BOTH, 50)]), [BOTH], "the lift was last part of both");
        assert_eq!(services(&[(BOTH, 0), (LIFT, 50)]), [LIFT, BOTH], "the tint was last part of both");
        assert_eq!(services(&[(BOTH, 0), (BROW, 9), (TINT, 50)]), [BOTH, TINT, BROW]);
        assert_eq!(returns(&done(&[(LIFT, 0), (LIFT, 50)]))[0].on, date!(2026 - 02 - 20));
    }

    #[test]
    fn the_due_come_first_and_the_lapsed_last() {
        let rule = RetouchRule::Interval(IntervalRule::parse(10, 20, 30).unwrap());
        let today = date!(2026 - 03 - 01);
        let ago = |days: i64| window(&[today - days.days()], &rule, &[]).unwrap();
        let mut order = [5, 9, 10, 19, 20, 29, 30, 400];
        order.sort_by_key(|&days| {
            let window = ago(days);
            urgency_of(window.state(today), window.opens(), window.due(), window.lapsed())
        });
        assert_eq!(order, [29, 20, 19, 10, 9, 5, 30, 400]);
    }

    #[test]
    fn of_each_single_kind_the_two_newest_days_are_kept() {
        let day = |n: i64| date!(2026 - 01 - 01) + Duration::days(n);
        let found = newest_days(&done(&[(LIFT, 0), (BOTH, 50), (LIFT, 100), (TINT, 120), (BROW, 130)]));
        let wanted = [
            (ServiceKind::LashLift, day(50)),
            (ServiceKind::LashLift, day(100)),
            (ServiceKind::LashTint, day(50)),
            (ServiceKind::LashTint, day(120)),
            (ServiceKind::BrowTint, day(130)),
        ];
        assert_eq!(found, BTreeSet::from(wanted));
    }

    #[test]
    fn each_service_that_she_returns_for_has_a_line() {
        let rules = KINDS.map(RetouchRule::default_for);
        let rule = |_, kind| KINDS.iter().position(|known| *known == kind).map(|at| &rules[at]);
        let client = ClientId::from_random([7; 16]);
        let found = lines(&client, &done(&[(LIFT, 0), (BROW, 9)]), rule);
        let told: Vec<_> = found.iter().map(|line| (&line.client, line.service, line.last)).collect();
        assert_eq!(told, [(&client, LIFT, date!(2026 - 01 - 01)), (&client, BROW, date!(2026 - 01 - 10))]);
    }

    proptest! {
        #[test]
        fn every_line_has_the_window_of_its_service(
            visits in proptest::collection::vec((0usize..4, 0i64..400), 0..12)
        ) {
            let mut visits = visits;
            visits.sort_by_key(|(_, day)| *day);
            let (done, rules) = (done(&visits), KINDS.map(RetouchRule::default_for));
            let rule = |kind| KINDS.iter().position(|known| *known == kind).map(|at| &rules[at]);
            let client = ClientId::from_random([7; 16]);
            let past: Vec<_> = done.iter().map(|one| (one.kind, one.on)).collect();
            for line in lines(&client, &done, |_, kind| rule(kind)) {
                let alone = window_of_service(KINDS[line.service], &past, rule, &[]).unwrap();
                prop_assert_eq!(&line.window, &alone);
                prop_assert_eq!(line.last, done.iter().rev().find(|one| one.service == line.service).unwrap().on);
                let wait = Wait::Health { question: "x".to_owned(), until: date!(2030 - 01 - 01) };
                let later = window_of_service(KINDS[line.service], &past, rule, &[wait]).unwrap();
                prop_assert!(later.opens() >= line.window.opens());
            }
        }
    }
}
