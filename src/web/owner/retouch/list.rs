//! The lines that fit what was asked for, in its order.

use std::collections::{HashMap, HashSet};

use serde::{Deserialize, Serialize};
use time::{Date, OffsetDateTime};

use crate::actions::case::RetouchRules;
use crate::domain::ids::{ClientId, ServiceId};
use crate::domain::retouch::{Line, lines, urgency};
use crate::domain::window::WindowState;
use crate::store::catalogue::{self, Service};
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
    page: Option<usize>,
    print: Option<String>,
}

/// The order of the list.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Sort {
    /// Due longest first.
    Urgent,
    /// By the day that the window opens.
    Date,
    /// By the client's name.
    Name,
}

impl Sort {
    pub(super) fn as_str(self) -> &'static str {
        match self {
            Self::Urgent => "urgent",
            Self::Date => "date",
            Self::Name => "name",
        }
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

/// Every state, in the order of the list.
const STATES: [WindowState; 4] = [WindowState::Due, WindowState::Open, WindowState::NotYet, WindowState::Lapsed];

/// The filter. A word that says nothing filters nothing.
pub(super) struct Wish {
    pub(super) state: Option<WindowState>,
    /// Only those who have nothing booked.
    pub(super) free: bool,
    pub(super) sort: Sort,
    /// A part of the client's name.
    pub(super) q: String,
    /// From 1.
    pub(super) page: usize,
    /// All on one page.
    pub(super) print: bool,
}

impl From<Ask> for Wish {
    fn from(ask: Ask) -> Self {
        let sorts = [Sort::Urgent, Sort::Date, Sort::Name];
        let sort = sorts.into_iter().find(|sort| ask.sort.as_deref() == Some(sort.as_str()));
        Self {
            state: STATES.into_iter().find(|state| ask.state.as_deref() == Some(word(*state))),
            free: ask.free.is_some_and(|text| !text.is_empty()),
            sort: sort.unwrap_or(Sort::Urgent),
            q: ask.q.unwrap_or_default().trim().chars().take(120).collect(),
            page: ask.page.unwrap_or(1).max(1),
            print: ask.print.is_some(),
        }
    }
}

impl Wish {
    fn query(&self, page: Option<usize>, print: bool) -> String {
        let ask = Ask {
            state: self.state.map(|state| word(state).to_owned()),
            free: self.free.then(|| "yes".to_owned()),
            sort: (self.sort != Sort::Urgent).then(|| self.sort.as_str().to_owned()),
            q: (!self.q.is_empty()).then(|| self.q.clone()),
            page,
            print: print.then(|| "yes".to_owned()),
        };
        serde_urlencoded::to_string(ask).unwrap_or_default()
    }

    pub(super) fn link(&self, page: usize) -> String {
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

/// What was found.
pub(super) struct List {
    services: Vec<Service>,
    booked: HashMap<ClientId, (Date, ServiceId)>,
    today: Date,
    /// The lines that fit, in order.
    pub(super) lines: Vec<Line>,
    /// How many lines there are in each state before any filter.
    pub(super) counts: Vec<(WindowState, usize)>,
}

impl List {
    pub(super) async fn load(c: &mut Connection, studio: &Studio, now: OffsetDateTime, wish: &Wish) -> Stored<Self> {
        let services = catalogue::services(c).await?;
        let common = RetouchRules::of(&services);
        let rules: Vec<RetouchRules> = services.iter().map(|service| common.clone().with(service)).collect();
        let rule = |service: usize, kind| rules.get(service).and_then(|rules| rules.get(kind));
        let treated = retouch::treated(c, &services).await?;
        let all: Vec<Line> = treated.iter().flat_map(|one| lines(&one.client, &one.done, rule)).collect();
        let today = studio.zone.date_at(now);
        let count = |state| all.iter().filter(|line| line.window.state(today) == state).count();
        let counts = STATES.into_iter().map(|state| (state, count(state))).collect();
        let booked = retouch::booked(c, now).await?;
        let mut list = Self { services, booked, today, lines: all, counts };
        list.narrow(c, wish).await?;
        Ok(list)
    }

    /// Keeps what fits and puts it in order.
    async fn narrow(&mut self, c: &mut Connection, wish: &Wish) -> Stored<()> {
        let Self { lines, booked, today, .. } = self;
        lines.retain(|line| wish.state.is_none_or(|state| line.window.state(*today) == state));
        lines.retain(|line| !(wish.free && booked.contains_key(&line.client)));
        let names =
            if wish.q.is_empty() && wish.sort != Sort::Name { HashMap::new() } else { retouch::names(c, None).await? };
        let name = |line: &Line| names.get(&line.client).map(|name| name.to_lowercase()).unwrap_or_default();
        let part = wish.q.to_lowercase();
        lines.retain(|line| part.is_empty() || name(line).contains(&part));
        match wish.sort {
            Sort::Urgent => lines.sort_by_cached_key(|line| (urgency(&line.window, *today), line.client.clone())),
            Sort::Date => lines.sort_by_cached_key(|line| (line.window.opens(), line.client.clone())),
            Sort::Name => lines.sort_by_cached_key(|line| (name(line), line.client.clone())),
        }
        Ok(())
    }

    /// Lines with everything that is shown of them.
    pub(super) async fn rows<'a>(
        &self,
        c: &mut Connection,
        shown: impl Iterator<Item = &'a Line> + Clone,
    ) -> Stored<Vec<Row>> {
        let clients: Vec<&ClientId> = shown.clone().map(|line| &line.client).collect();
        let names = retouch::names(c, Some(&clients)).await?;
        let may = retouch::may_invite(c, &clients).await?;
        let blocked = retouch::blocked(c, &clients).await?;
        let tested = retouch::tested(c).await?;
        let blocks = |line: &Line| {
            let tested = self.services.get(line.service).and_then(|service| tested.get(&service.id));
            tested.is_some_and(|all| all.iter().any(|one| blocked.contains(&(line.client.clone(), one.clone()))))
        };
        Ok(shown.map(|line| self.row(line, &names, &may, blocks(line))).collect())
    }

    fn row(&self, line: &Line, names: &HashMap<ClientId, String>, may: &HashSet<ClientId>, blocked: bool) -> Row {
        let service = self.services.get(line.service);
        let named = |id: &ServiceId| self.services.iter().find(|one| one.id == *id).map(|one| one.name.clone());
        Row {
            name: names.get(&line.client).cloned().unwrap_or_default(),
            service: service.map(|one| one.name.clone()).unwrap_or_default(),
            offered: service.is_some_and(|one| one.active),
            next: self.booked.get(&line.client).map(|(day, id)| (*day, named(id).unwrap_or_default())),
            may_mail: may.contains(&line.client),
            blocked,
            today: self.today,
            line: line.clone(),
        }
    }
}

/// A line with everything that is shown of it.
pub(super) struct Row {
    pub(super) line: Line,
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
        why::state(&self.line.window, self.today)
    }

    pub(super) fn reason(&self) -> String {
        why::reason(&self.line.window.binding().reason)
    }

    pub(super) fn opens(&self) -> String {
        words::day(self.line.window.opens())
    }

    pub(super) fn last(&self) -> String {
        words::day(self.line.last)
    }

    pub(super) fn next(&self) -> String {
        self.next.as_ref().map(|(day, service)| format!("{}, {service}", words::day(*day))).unwrap_or_default()
    }

    pub(super) fn fields(&self) -> [String; 11] {
        let (window, yes) = (&self.line.window, |it: bool| if it { "yes" } else { "no" }.to_owned());
        [
            self.name.clone(),
            self.service.clone(),
            why::name(window.state(self.today)).to_owned(),
            window.opens().to_string(),
            window.due().to_string(),
            window.lapsed().to_string(),
            window.binding().reason.to_string(),
            self.line.last.to_string(),
            self.next.as_ref().map(|(day, _)| day.to_string()).unwrap_or_default(),
            yes(self.may_mail),
            yes(self.blocked),
        ]
    }
}
