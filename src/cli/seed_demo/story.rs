//! What happened, in the order of time.

use std::collections::BTreeMap;

use time::{Date, Duration, OffsetDateTime};

use super::data::{self, Booking, Guest, House, Words};
use super::opening::{self, Opened, day, moment, refused};
use super::{DemoRefused, SignIns};
use crate::app::App;
use crate::clock::Random;
use crate::domain::ids::{ClientId, ReactionId, SkinTestId, TreatmentId, VisitId};
use crate::domain::zone::Zone;
use crate::jobs::outbox;
use crate::store::health::{self, InForce};

/// How far back the demo's past reaches: eighteen months, and a little to set up.
pub(super) const PAST: Duration = Duration::days(560);

/// The data, read.
pub(super) struct Script {
    house: House,
    guests: Vec<Guest>,
    words: Words,
}

/// One booking of one guest.
#[derive(Clone)]
pub(super) struct Plan {
    pub(super) guest: usize,
    pub(super) booking: Booking,
}

/// What happens at a moment.
pub(super) enum Event {
    /// A batch of a product comes in.
    Batch { product: usize, batch: usize },
    /// A guest books.
    Book,
    /// A guest, or the studio, changes what is booked.
    Change(VisitId),
    /// A skin test is due.
    Test { test: VisitId, treatment: VisitId },
    /// Somebody looks at a skin test.
    Read { test: SkinTestId, treatment: VisitId },
    /// A guest comes, or doesn't.
    Come(VisitId),
    /// It is too late for her to come.
    Missed(VisitId),
    /// The treatment begins.
    Start(VisitId),
    /// The treatment ends and is recorded.
    Record(VisitId),
    /// The record is put right.
    Correct(TreatmentId),
    /// Somebody asks how a reaction is; the last time it is settled.
    AskAgain { reaction: ReactionId, last: bool },
}

/// The story as it goes.
pub(super) struct Story<'a> {
    pub(super) app: &'a App,
    pub(super) script: &'a Script,
    pub(super) opened: Opened,
    pub(super) in_force: InForce,
    pub(super) today: Date,
    pub(super) clients: BTreeMap<usize, ClientId>,
    dice: Random,
    plans: Vec<Plan>,
    /// In the order of time, each with the number of its plan.
    events: BTreeMap<(OffsetDateTime, usize), (usize, Event)>,
}

impl Script {
    pub(super) fn read() -> Result<Self, DemoRefused> {
        Ok(Self {
            house: data::read("studio.json", include_str!("../../../seed-demo/studio.json"))?,
            guests: data::read("clients.json", include_str!("../../../seed-demo/clients.json"))?,
            words: data::read("words.json", include_str!("../../../seed-demo/words.json"))?,
        })
    }

    pub(super) fn sign_ins(&self) -> Result<SignIns, DemoRefused> {
        let [owner, practitioner, ..] = &self.house.team[..] else { return Err(refused("team", "too few")) };
        Ok(SignIns {
            owner: (owner.mail.clone(), owner.password.clone()),
            practitioner: (practitioner.mail.clone(), practitioner.password.clone()),
            client: self.guest(0)?.mail(),
        })
    }

    pub(super) fn guest(&self, number: usize) -> Result<&Guest, DemoRefused> {
        self.guests.get(number).ok_or_else(|| refused("no guest", number))
    }

    pub(super) fn words(&self) -> &Words {
        &self.words
    }

    /// A service as the data have it.
    pub(super) fn offer(&self, key: &str) -> Result<&data::Offer, DemoRefused> {
        self.house.services.iter().find(|offer| offer.key == key).ok_or_else(|| refused("no service", key))
    }

    /// The number of the batch of a product that is open on a day, counted from today.
    pub(super) fn batch(&self, product: &str, on: i64) -> Result<&str, DemoRefused> {
        let stock = self.house.products.iter().find(|stock| stock.key == product);
        let lots = stock.iter().flat_map(|stock| &stock.batches);
        let lot = lots.rev().find(|lot| lot.from < on && on <= lot.until);
        lot.map(|lot| lot.number.as_str()).ok_or_else(|| refused(product, format!("no batch on day {on}")))
    }

    /// The hours that a product's label asks for after a skin test, where it names some.
    pub(super) fn label_hours(&self, product: &str) -> u16 {
        let stock = self.house.products.iter().find(|stock| stock.key == product);
        stock.and_then(|stock| stock.label_hours).unwrap_or(0)
    }

    /// Lets everything happen that lies before today.
    pub(super) async fn tell(&self, app: &App, now: OffsetDateTime) -> Result<(), DemoRefused> {
        let zone = Zone::parse(&self.house.zone).map_err(|_| refused("zone", &self.house.zone))?;
        let today = zone.date_at(now);
        // Whatever the hour at which the demo is made, its past ends with the night before.
        let end = zone.day_start(today);
        app.clock.advance(moment(&zone, day(today, -PAST.whole_days()), "10:00")? - app.clock.now());
        let opened = opening::open(app, &self.house, today).await?;
        let in_force = health::in_force(&mut *app.db.read().await?).await?;
        let mut story = Story {
            app,
            script: self,
            opened,
            in_force,
            today,
            clients: BTreeMap::new(),
            dice: Random::seeded(super::SEED),
            plans: Vec::new(),
            events: BTreeMap::new(),
        };
        story.plan()?;
        while let Some(((when, _), (plan, event))) = story.events.pop_first() {
            if when >= end {
                break;
            }
            story.until(when);
            story.happen(plan, event).await?;
            while outbox::step(app).await? != outbox::Step::Empty {}
        }
        Ok(())
    }
}

impl Story<'_> {
    fn plan(&mut self) -> Result<(), DemoRefused> {
        let (script, zone) = (self.script, self.opened.studio.zone.clone());
        for (product, stock) in script.house.products.iter().enumerate() {
            for (batch, lot) in stock.batches.iter().enumerate() {
                let morning = moment(&zone, day(self.today, lot.from), "11:00")?;
                self.at(morning, usize::MAX, Event::Batch { product, batch });
            }
        }
        for (guest, she) in script.guests.iter().enumerate() {
            for booking in self.habit(she).into_iter().chain(she.bookings.iter().cloned()) {
                let minutes = Duration::minutes(i64::from(self.die(150)));
                let evening = moment(&zone, day(self.today, booking.day - booking.ahead), "18:30")? + minutes;
                self.plans.push(Plan { guest, booking });
                self.at(evening, self.plans.len() - 1, Event::Book);
            }
        }
        Ok(())
    }

    fn habit(&self, she: &Guest) -> Vec<Booking> {
        let Some(habit) = &she.habit else { return Vec::new() };
        let mut bookings = Vec::new();
        let mut on = habit.first;
        while on <= habit.last {
            let number = i64::try_from(bookings.len()).unwrap_or(i64::MAX);
            bookings.push(Booking {
                service: habit.service.clone(),
                day: on,
                at: None,
                with: habit.with.clone(),
                ahead: habit.ahead,
                test: None,
                test_at: None,
                turn: habit.turns.get(&number).cloned(),
                needed: habit.turns.contains_key(&number),
            });
            on += habit.every + i64::from(self.die(9)) - 4;
        }
        bookings
    }

    async fn happen(&mut self, number: usize, event: Event) -> Result<(), DemoRefused> {
        if let Event::Batch { product, batch } = event {
            let stock = self.script.house.products.get(product).ok_or_else(|| refused("no product", product))?;
            let lot = stock.batches.get(batch).ok_or_else(|| refused("no batch", batch))?;
            return self.opened.add_batch(self.app, &stock.key, lot, self.today).await;
        }
        let plan = self.plans.get(number).cloned().ok_or_else(|| refused("no plan", number))?;
        match event {
            Event::Batch { .. } => Ok(()),
            Event::Book => self.book(number, &plan).await,
            Event::Change(visit) => self.change(number, &plan, &visit).await,
            Event::Test { test, treatment } => self.test(number, &plan, &test, treatment).await,
            Event::Read { test, treatment } => self.read(number, &plan, &test, &treatment).await,
            Event::Come(visit) => self.come(number, &plan, visit).await,
            Event::Missed(visit) => self.missed(&visit).await,
            Event::Start(visit) => self.start(number, &plan, visit).await,
            Event::Record(visit) => self.record(number, &plan, &visit).await,
            Event::Correct(treatment) => self.correct(number, &plan, &treatment).await,
            Event::AskAgain { reaction, last } => self.ask_again(&reaction, last).await,
        }
    }

    pub(super) fn at(&mut self, when: OffsetDateTime, plan: usize, event: Event) {
        let mut place = 0;
        while self.events.contains_key(&(when, place)) {
            place += 1;
        }
        self.events.insert((when, place), (plan, event));
    }

    /// Lets the clock go on; it never goes back.
    fn until(&self, when: OffsetDateTime) {
        let by = when - self.app.clock.now();
        if by.is_positive() {
            self.app.clock.advance(by);
        }
    }

    /// Days from today to the studio's present day; of the past, below 0.
    pub(super) fn present(&self) -> i64 {
        (self.opened.studio.zone.date_at(self.app.clock.now()) - self.today).whole_days()
    }

    /// From 0 to one less than `sides`.
    pub(super) fn die(&self, sides: u16) -> u16 {
        u16::from_le_bytes(self.dice.bytes()).checked_rem(sides).unwrap_or(0)
    }

    /// One of several.
    pub(super) fn pick<'t, T>(&self, from: &'t [T]) -> Option<&'t T> {
        let sides = u16::try_from(from.len()).ok().filter(|sides| *sides > 0)?;
        from.get(usize::from(self.die(sides)))
    }

    /// One sentence of several.
    pub(super) fn say(&self, from: &[String]) -> String {
        self.pick(from).cloned().unwrap_or_default()
    }
}
