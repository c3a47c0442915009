//! What happened, in the order of time.

use std::collections::BTreeMap;

use time::{Date, Duration, OffsetDateTime};

use super::data::{self, Guest, House};
use super::opening::{self, Opened, day, moment, of, refused};
use super::{DemoRefused, SignIns};
use crate::app::App;
use crate::domain::ids::ClientId;
use crate::domain::zone::Zone;
use crate::jobs::outbox;
use crate::store::health::{self, InForce};

/// How far back the demo's past reaches: eighteen months, and a little to set up.
pub(super) const PAST: Duration = Duration::days(560);

/// The data, read.
pub(super) struct Script {
    house: House,
    guests: Vec<Guest>,
}

/// What happens at a moment.
enum Event {
    /// A batch of a product comes in.
    Batch { product: usize, batch: usize },
    /// A guest books.
    Book { guest: usize, booking: usize },
}

/// The story as it goes.
pub(super) struct Story<'a> {
    pub(super) app: &'a App,
    pub(super) opened: Opened,
    pub(super) in_force: InForce,
    pub(super) today: Date,
    pub(super) clients: Vec<Option<ClientId>>,
    events: BTreeMap<(OffsetDateTime, u32), Event>,
    count: u32,
}

impl Script {
    pub(super) fn read() -> Result<Self, DemoRefused> {
        Ok(Self {
            house: data::read("studio.json", include_str!("../../../seed-demo/studio.json"))?,
            guests: data::read("clients.json", include_str!("../../../seed-demo/clients.json"))?,
        })
    }

    pub(super) fn sign_ins(&self) -> Result<SignIns, DemoRefused> {
        let [owner, practitioner, ..] = &self.house.team[..] else { return Err(refused("team", "too few")) };
        let guest = self.guests.first().ok_or_else(|| refused("clients", "none"))?;
        Ok(SignIns {
            owner: (owner.mail.clone(), owner.password.clone()),
            practitioner: (practitioner.mail.clone(), practitioner.password.clone()),
            client: guest.mail(),
        })
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
        let clients = self.guests.iter().map(|_| None).collect();
        let mut story = Story { app, opened, in_force, today, clients, events: BTreeMap::new(), count: 0 };
        for (product, stock) in self.house.products.iter().enumerate() {
            for (batch, lot) in stock.batches.iter().enumerate() {
                story.at(moment(&zone, day(today, lot.from), "11:00")?, Event::Batch { product, batch });
            }
        }
        for (guest, person) in self.guests.iter().enumerate() {
            for (booking, wish) in person.bookings.iter().enumerate() {
                let evening = moment(&zone, day(today, wish.day - wish.ahead), "19:40")?;
                story.at(evening, Event::Book { guest, booking });
            }
        }
        while let Some(((when, _), event)) = story.events.pop_first() {
            if when >= end {
                break;
            }
            story.until(when);
            match event {
                Event::Batch { product, batch } => {
                    let stock = self.house.products.get(product).ok_or_else(|| refused("products", product))?;
                    let lot = stock.batches.get(batch).ok_or_else(|| refused(&stock.key, batch))?;
                    opening::add_batch(app, of(&story.opened.products, &stock.key)?, lot, today).await?;
                }
                Event::Book { guest, booking } => {
                    let person = self.guests.get(guest).ok_or_else(|| refused("clients", guest))?;
                    let wish = person.bookings.get(booking).ok_or_else(|| refused(&person.name, booking))?;
                    story.book(guest, person, wish).await?;
                }
            }
            while outbox::step(app).await? != outbox::Step::Empty {}
        }
        Ok(())
    }
}

impl Story<'_> {
    fn at(&mut self, when: OffsetDateTime, event: Event) {
        self.count += 1;
        self.events.insert((when, self.count), event);
    }

    /// Lets the clock go on; it never goes back.
    fn until(&self, when: OffsetDateTime) {
        let by = when - self.app.clock.now();
        if by.is_positive() {
            self.app.clock.advance(by);
        }
    }
}
