//! The lines that fit what was asked for, in its order.

use std::collections::{HashMap, HashSet};

use serde::{Deserialize, Serialize};
use time::{Date, OffsetDateTime};

use crate::actions::case::RetouchRules;
use crate::domain::catalogue::ServiceKind;
use crate::domain::ids::{ClientId, ProductId, ServiceId};
use crate::domain::window::{Window, WindowState, window_of_service};
use crate::store::catalogue::{self, Service};
use crate::store::retouch::lines::{self, Filter, Order, STATES, Spot};
use crate::store::studio::Studio;
use crate::store::{Connection, Stored, retouch};
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
        };
        serde_urlencoded::to_string(ask).unwrap_or_default()
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
    today: Date,
    /// How many lines there are in each state before any filter.
    pub(super) states: [(WindowState, i64); 4],
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
        let fitting = lines::counts(c, wish.filter(today, now, &name)).await?;
        let count = fitting.iter().map(|(_, count)| count).sum();
        Ok(Self { services, rules, now, today, states, count })
    }

    /// The rows that fit, `most` of them after the first `skip`.
    pub(super) async fn rows(&self, c: &mut Connection, wish: &Wish, skip: i64, most: i64) -> Stored<Vec<Row>> {
        let name = wish.q.to_lowercase();
        let spots = lines::page(c, wish.filter(self.today, self.now, &name), wish.sort, skip, most).await?;
        let clients: Vec<&ClientId> = spots.iter().map(|spot| &spot.client).collect();
        let shown = Shown {
            days: lines::newest(c, &clients).await?,
            names: retouch::names(c, &clients).await?,
            may: retouch::may_invite(c, &clients).await?,
            booked: retouch::booked(c, &clients, self.now).await?,
            blocked: retouch::blocked(c, &clients).await?,
            tested: retouch::tested(c).await?,
        };
        Ok(spots.into_iter().filter_map(|spot| self.row(spot, &shown)).collect())
    }

    fn row(&self, spot: Spot, shown: &Shown) -> Option<Row> {
        let at = self.services.iter().position(|service| service.id == spot.service)?;
        let (service, rules) = (self.services.get(at)?, self.rules.get(at)?);
        let days = shown.days.get(&spot.client)?;
        let window = window_of_service(service.kind, days, |part| rules.get(part), &[])?;
        let named = |id: &ServiceId| self.services.iter().find(|one| one.id == *id).map(|one| one.name.clone());
        let tested = shown.tested.get(&service.id);
        Some(Row {
            name: shown.names.get(&spot.client).cloned().unwrap_or_default(),
            service: service.name.clone(),
            offered: service.active,
            next: shown.booked.get(&spot.client).map(|(day, id)| (*day, named(id).unwrap_or_default())),
            may_mail: shown.may.contains(&spot.client),
            blocked: tested
                .is_some_and(|all| all.iter().any(|one| shown.blocked.contains(&(spot.client.clone(), one.clone())))),
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
    blocked: HashSet<(ClientId, ProductId)>,
    tested: HashMap<ServiceId, Vec<ProductId>>,
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

    pub(super) fn fields(&self) -> [String; 11] {
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
        ]
    }
}
