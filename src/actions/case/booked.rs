//! Her other treatments that are booked: what they leave of the days to come.

use time::{Date, Duration, OffsetDateTime};

use super::{Known, RetouchRules};
use crate::actions::diary::Between;
use crate::domain::catalogue::ServiceKind;
use crate::domain::hours::DateRange;
use crate::domain::ids::VisitId;
use crate::domain::visit::VisitState;
use crate::domain::window;
use crate::store::catalogue::Service;
use crate::store::visits::{Purpose, Visit};

/// A treatment that is booked.
pub(super) struct Booked {
    visit: VisitId,
    kind: ServiceKind,
    at: OffsetDateTime,
    on: Date,
    rules: RetouchRules,
}

impl Booked {
    pub(super) fn of(visit: &Visit, services: &[Service]) -> Option<Self> {
        let booked = matches!(visit.state, VisitState::Booked | VisitState::Arrived);
        let service = services.iter().find(|service| service.id == visit.service)?;
        (booked && visit.purpose == Purpose::Treatment).then(|| Self {
            visit: visit.id.clone(),
            kind: service.kind,
            at: visit.starts_at,
            on: visit.civil.date(),
            rules: RetouchRules::of(services).with(service),
        })
    }
}

impl Known {
    /// The same but for a visit that is moved.
    #[must_use]
    pub fn leave_out(mut self, visit: &VisitId) -> Self {
        self.booked.retain(|booked| booked.visit != *visit);
        self
    }

    /// Those that are still to begin.
    fn ahead(&self, now: OffsetDateTime) -> impl Iterator<Item = &Booked> {
        self.booked.iter().filter(move |booked| booked.at > now)
    }

    pub(super) fn treated(&self) -> impl Iterator<Item = (OffsetDateTime, ServiceKind, Date)> {
        self.past.iter().map(|one| (one.at, one.kind, one.on))
    }

    /// The first day of the window for a visit at a moment, after those that she will have had by then.
    pub(super) fn opens(&self, at: OffsetDateTime, now: OffsetDateTime) -> Option<Date> {
        let booked = self.ahead(now).map(|booked| (booked.at, booked.kind, booked.on));
        self.window_after(self.treated().chain(booked), at, &[]).map(|window| window.opens())
    }

    /// The days that suit her, as far as window, waits and her other visits go.
    pub fn between(&self, now: OffsetDateTime) -> Between {
        Between { earliest: self.earliest(now), latest: None, but: self.too_near(now) }
    }

    /// The first day on which no further skin test has to be made, since one that is booked has its wait over by then;
    /// nothing where one has to be.
    pub fn tested_from(&self, horizon: i64, now: OffsetDateTime) -> Option<Date> {
        let today = self.zone.date_at(now);
        let days = (1..=horizon).filter(|_| !self.booked_tests.is_empty());
        let mut days = days.filter_map(|days| today.checked_add(Duration::days(days)));
        days.find(|day| !self.needs_test(self.zone.day_start(*day), now))
    }

    /// The days that lie too near to treatments that she has booked.
    fn too_near(&self, now: OffsetDateTime) -> Vec<DateRange> {
        let booked: Vec<&Booked> = self.ahead(now).collect();
        let Some(last) = booked.iter().map(|booked| booked.on).max() else { return Vec::new() };
        let past: Vec<_> = self.treated().map(|(_, kind, on)| (kind, on)).collect();
        let days: Vec<_> = booked.iter().map(|booked| (booked.kind, booked.on)).collect();
        let rule = |whose: Option<usize>, kind| match whose {
            Some(place) => booked.get(place).and_then(|booked| booked.rules.get(kind)),
            None => self.retouch.get(kind),
        };
        let near = |day| window::too_near(&past, &days, (self.service.kind, day), rule);
        let today = self.zone.date_at(now);
        let days = std::iter::successors(Some(today), |day| day.checked_add(Duration::DAY));
        days.map(|day| (day, near(day)))
            .take_while(|(day, near)| *day <= last || *near)
            .filter(|(_, near)| *near)
            .map(|(day, _)| DateRange::from(day))
            .collect()
    }
}
