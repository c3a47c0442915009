//! The lines that fit what was asked for, in its order.

use std::collections::{HashMap, HashSet};

use serde::{Deserialize, Serialize};
use time::{Date, OffsetDateTime};

use crate::actions::case::{Barred, RetouchRules};
use crate::domain::catalogue::ServiceKind;
use crate::domain::ids::{ClientId, ServiceId};
use crate::domain::window::{Window, WindowState, window_of_service};
use crate::store::catalogue::{self, Service};
use crate::store::retouch::lines::{self, Counts, Filter, Order, STATES, Spot};
use crate::store::studio::Studio;
use crate::store::{Connection, Stored, invitations, retouch};
use crate::web::form::Fields;
use crate::web::{why, words};

/// The filter as the address carries it.
#[derive(Deserialize, Serialize, Default)]
pub struct Ask {
    state: Option<String>,
    free: Option<String>,
    sort: Option<String>,
    q: Option<String>,
    page: Option<i64>,
    print: Option<String>,
    #[serde(skip_serializing)]
    sent: Option<u32>,
}

impl Ask {
    /// As a form carries it.
    pub(super) fn of(fields: &Fields) -> Self {
        let text = |name| Some(fields.trimmed(name).to_owned()).filter(|text| !text.is_empty());
        Self { state: text("state"), free: text("free"), sort: text("sort"), q: text("q"), ..Self::default() }
    }

    /// How many letters have just been written.
    pub(super) fn sent(&self) -> Option<u32> {
        self.sent
    }
}

fn order(sort: Order) -> &'static str {
    match sort {
        Order::Urgent => "urgent",
        Order::Date => "date",
        Order::Name => "name",
    }
}

pub(super) fn word(state: WindowState) -> &'static str {
    match state {
        WindowState::NotYet => "not-yet",
        WindowState::Open => "open",
        WindowState::Due => "due",
        WindowState::Lapsed => "lapsed",
    }
}

/// The filter. A word that says nothing filters nothing.
pub(super) struct Wish {
    pub(super) state: Option<WindowState>,
    /// Only those who have nothing booked.
    pub(super) free: bool,
    pub(super) sort: Order,
    /// A part of the client's name.
    pub(super) q: String,
    /// From 1.
    pub(super) page: i64,
    /// All on one page.
    pub(super) print: bool,
}

impl From<Ask> for Wish {
    fn from(ask: Ask) -> Self {
        let sorts = [Order::Urgent, Order::Date, Order::Name];
        let sort = sorts.into_iter().find(|sort| ask.sort.as_deref() == Some(order(*sort)));
        Self {
            state: STATES.into_iter().find(|state| ask.state.as_deref() == Some(word(*state))),
            free: ask.free.is_some_and(|text| !text.is_empty()),
            sort: sort.unwrap_or(Order::Urgent),
            q: ask.q.unwrap_or_default().trim().chars().take(120).collect(),
            page: ask.page.unwrap_or(1).max(1),
            print: ask.print.is_some(),
        }
    }
}

impl Wish {
    fn query(&self, page: Option<i64>, print: bool) -> String {
        let ask = Ask {
            state: self.state.map(|state| word(state).to_owned()),
            free: self.free.then(|| "yes".to_owned()),
            sort: (self.sort != Order::Urgent).then(|| order(self.sort).to_owned()),
            q: (!self.q.is_empty()).then(|| self.q.clone()),
            page,
            print: print.then(|| "yes".to_owned()),
            sent: None,
        };
        serde_urlencoded::to_string(ask).unwrap_or_default()
    }

    /// The filter's own fields, for a form that takes it along.
    pub(super) fn hidden(&self) -> [(&'static str, String); 4] {
        let state = self.state.map(|state| word(state).to_owned()).unwrap_or_default();
        let free = if self.free { "yes" } else { "" }.to_owned();
        [("state", state), ("free", free), ("sort", order(self.sort).to_owned()), ("q", self.q.clone())]
    }

    fn filter<'a>(&self, today: Date, now: OffsetDateTime, name: &'a str) -> Filter<'a> {
        Filter { today, state: self.state, free: self.free.then_some(now), name }
    }

    pub(super) fn link(&self, page: i64) -> String {
        format!("/owner/retouch?{}", self.query(Some(page), false))
    }

    pub(super) fn print_link(&self) -> String {
        format!("/owner/retouch?{}", self.query(None, true))
    }

    pub(super) fn csv_link(&self) -> String {
        format!("/owner/retouch/list.csv?{}", self.query(None, false))
    }

    pub(super) fn wants(&self, text: &str) -> bool {
        self.state.is_some_and(|state| word(state) == text)
    }
}

/// What the list is made from.
pub(super) struct List {
    services: Vec<Service>,
    rules: Vec<RetouchRules>,
    now: OffsetDateTime,
    studio: Studio,
    today: Date,
    /// How many lines there are in each state before any filter.
    pub(super) states: Counts,
    /// How many lines fit, by state.
    fitting: Counts,
    /// How many lines fit.
    pub(super) count: i64,
}

impl List {
    pub(super) async fn load(c: &mut Connection, studio: &Studio, now: OffsetDateTime, wish: &Wish) -> Stored<Self> {
        let services = catalogue::services(c).await?;
        let rules = RetouchRules::of_each(&services);
        let today = studio.zone.date_at(now);
        let all = Filter { today, state: None, free: None, name: "" };
        let states = lines::counts(c, all).await?;
        let name = wish.q.to_lowercase();
        let fitting = match wish.filter(today, now, &name) {
            Filter { state: None, free: None, name: "", .. } => states,
            filter => lines::counts(c, filter).await?,
        };
        let count = fitting.iter().map(|(_, count)| count).sum();
        Ok(Self { services, rules, now, studio: studio.clone(), today, states, fitting, count })
    }

    /// The lines that fit, `most` of them after the first `skip`.
    pub(super) async fn spots(&self, c: &mut Connection, wish: &Wish, skip: i64, most: i64) -> Stored<Vec<Spot>> {
        let name = wish.q.to_lowercase();
        lines::page(c, wish.filter(self.today, self.now, &name), wish.sort, self.fitting, (skip, most)).await
    }

    /// The same with everything that is shown of them.
    pub(super) async fn rows(&self, c: &mut Connection, wish: &Wish, skip: i64, most: i64) -> Stored<Vec<Row>> {
        let spots = self.spots(c, wish, skip, most).await?;
        let clients: Vec<&ClientId> = spots.iter().map(|spot| &spot.client).collect();
        let shown = Shown {
            days: lines::newest(c, &clients).await?,
            names: retouch::names(c, &clients).await?,
            may: retouch::may_invite(c, &clients).await?,
            booked: retouch::booked(c, &clients, self.now).await?,
            barred: Barred::load(c, &self.studio, self.today, &clients).await?,
            told: invitations::told(c, &clients).await?,
        };
        Ok(spots.into_iter().filter_map(|spot| self.row(spot, &shown)).collect())
    }

    fn row(&self, spot: Spot, shown: &Shown) -> Option<Row> {
        let at = self.services.iter().position(|service| service.id == spot.service)?;
        let (service, rules) = (self.services.get(at)?, self.rules.get(at)?);
        let days = shown.days.get(&spot.client)?;
        let window = window_of_service(service.kind, days, |part| rules.get(part), &[])?;
        let named = |id: &ServiceId| self.services.iter().find(|one| one.id == *id).map(|one| one.name.clone());
        Some(Row {
            name: shown.names.get(&spot.client).cloned().unwrap_or_default(),
            service: service.name.clone(),
            offered: service.active,
            next: shown.booked.get(&spot.client).map(|(day, id)| (*day, named(id).unwrap_or_default())),
            may_mail: shown.may.contains(&spot.client),
            blocked: shown.barred.stops(&spot.client, service),
            unsettled: shown.barred.unsettled(&spot.client),
            told: shown.told.get(&spot.client).map(|(times, at)| (*times, self.studio.zone.date_at(*at))),
            today: self.today,
            window,
            spot,
        })
    }
}

/// What is read for the rows that are shown.
struct Shown {
    days: HashMap<ClientId, Vec<(ServiceKind, Date)>>,
    names: HashMap<ClientId, String>,
    may: HashSet<ClientId>,
    booked: HashMap<ClientId, (Date, ServiceId)>,
    barred: Barred,
    told: HashMap<ClientId, (i64, OffsetDateTime)>,
}

/// A line with everything that is shown of it.
pub(super) struct Row {
    pub(super) spot: Spot,
    window: Window,
    pub(super) name: String,
    pub(super) service: String,
    pub(super) offered: bool,
    next: Option<(Date, String)>,
    pub(super) may_mail: bool,
    pub(super) blocked: bool,
    /// Whether a reaction of hers is not settled.
    pub(super) unsettled: bool,
    /// How often she was invited, and the last day.
    told: Option<(i64, Date)>,
    today: Date,
}

impl Row {
    pub(super) fn state(&self) -> String {
        why::state(&self.window, self.today)
    }

    pub(super) fn reason(&self) -> String {
        why::reason(&self.window.binding().reason)
    }

    pub(super) fn opens(&self) -> String {
        words::day(self.window.opens())
    }

    pub(super) fn last(&self) -> String {
        words::day(self.spot.last)
    }

    pub(super) fn next(&self) -> String {
        self.next.as_ref().map(|(day, service)| format!("{}, {service}", words::day(*day))).unwrap_or_default()
    }

    pub(super) fn invited(&self) -> String {
        match self.told {
            None => String::new(),
            Some((times, day)) => {
                let words = crate::tn("Invited once, on {day}", "Invited {n} times, last on {day}", times);
                words.with("day", words::day(day)).to_string()
            }
        }
    }

    /// Whether she could get a letter; the preview looks closer.
    pub(super) fn may_choose(&self) -> bool {
        self.may_mail && self.next.is_none() && !self.blocked && !self.unsettled && self.offered
    }

    pub(super) fn key(&self) -> String {
        super::invite::key(&self.spot)
    }

    pub(super) fn fields(&self) -> [String; 13] {
        let (window, yes) = (&self.window, |it: bool| if it { "yes" } else { "no" }.to_owned());
        [
            self.name.clone(),
            self.service.clone(),
            why::name(window.state(self.today)).to_owned(),
            window.opens().to_string(),
            window.due().to_string(),
            window.lapsed().to_string(),
            window.binding().reason.to_string(),
            self.spot.last.to_string(),
            self.next.as_ref().map(|(day, _)| day.to_string()).unwrap_or_default(),
            yes(self.may_mail),
            yes(self.blocked),
            self.told.map_or(0, |(times, _)| times).to_string(),
            self.told.map(|(_, day)| day.to_string()).unwrap_or_default(),
        ]
    }
}
