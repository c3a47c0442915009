//! The owner sets the studio up.

use std::collections::BTreeMap;

use time::{Date, Duration, OffsetDateTime};

use super::DemoRefused;
use super::data::{Colleague, DaysOff, House, Lot, Offer, Stock};
use crate::actions::catalogue::{self as stock, ProductFacts, ServiceFacts};
use crate::actions::people::{self, Chosen, NewOwner};
use crate::actions::seen::Saved;
use crate::actions::sign_in::Browser;
use crate::actions::{steps, studio as settings, team};
use crate::app::App;
use crate::domain::bottle::Days;
use crate::domain::hours::{DateRange, DayHours, WeeklyHours, parse_clock};
use crate::domain::ids::{PractitionerId, ProductId};
use crate::domain::money::Currency;
use crate::domain::person::{HomeDial, Mail, PersonName};
use crate::domain::role::{Actor, Member};
use crate::domain::zone::Zone;
use crate::language::Language;
use crate::store::catalogue::{Batch, Service};
use crate::store::sessions::Stage;
use crate::store::studio::Studio;
use crate::store::types::sha256_hex;
use crate::store::{accounts, catalogue, studio};

/// The studio once it is set up.
pub(super) struct Opened {
    pub(super) studio: Studio,
    pub(super) team: BTreeMap<String, Member>,
    pub(super) products: BTreeMap<String, ProductId>,
    pub(super) services: BTreeMap<String, Service>,
    owner: Actor,
}

pub(super) fn refused(what: impl std::fmt::Display, why: impl std::fmt::Display) -> DemoRefused {
    DemoRefused::Data(format!("{what}: {why}"))
}

/// The day so many days from today.
pub(super) fn day(today: Date, days: i64) -> Date {
    today.saturating_add(Duration::days(days))
}

/// The moment of a civil time on a day of the studio.
pub(super) fn moment(zone: &Zone, on: Date, clock: &str) -> Result<OffsetDateTime, DemoRefused> {
    let minutes = parse_clock(clock).map_err(|why| refused(clock, why))?;
    let time = time::Time::MIDNIGHT + Duration::minutes(i64::from(minutes));
    zone.to_instant(time::PrimitiveDateTime::new(on, time)).map_err(|why| refused(clock, why))
}

/// What a key of the data stands for.
pub(super) fn of<'m, T>(map: &'m BTreeMap<String, T>, key: &str) -> Result<&'m T, DemoRefused> {
    map.get(key).ok_or_else(|| refused(key, "stands for nothing"))
}

pub(super) async fn open(app: &App, house: &House, today: Date) -> Result<Opened, DemoRefused> {
    let first = house.team.first().ok_or_else(|| refused("team", "nobody"))?;
    create_owner(app, house, first).await?;
    let member = member(app, first).await?;
    let owner = Actor::Member(member.clone());
    let mut studio = studio::get(&mut *app.db.read().await?).await?.ok_or_else(|| refused("studio", "not there"))?;
    studio.address = house.address.clone();
    studio.phone = house.phone.clone();
    studio.mail = house.mail.clone();
    studio.home_dial = HomeDial::parse(&house.home_dial).map_err(|why| refused("home_dial", why))?;
    settings::save(app, &owner, &studio).await?.map_err(|why| refused("studio", format!("{why:?}")))?;
    for name in &house.rooms {
        settings::save_room(app, &owner, None, name, true).await?;
    }
    steps::save_shields(app, &member, &house.shields).await?;
    let mut opened =
        Opened { studio, team: BTreeMap::new(), products: BTreeMap::new(), services: BTreeMap::new(), owner };
    for colleague in &house.team {
        opened.join(app, colleague, (colleague.key == first.key).then_some(&member), today).await?;
    }
    for off in &house.closed {
        opened.take_off(app, None, off, today).await?;
    }
    for product in &house.products {
        opened.add_product(app, product).await?;
    }
    for offer in &house.services {
        opened.add_service(app, offer).await?;
    }
    Ok(opened)
}

async fn create_owner(app: &App, house: &House, she: &Colleague) -> Result<(), DemoRefused> {
    let new = NewOwner {
        language: Language::English,
        studio: name(&house.name)?,
        zone: Zone::parse(&house.zone).map_err(|_| refused("zone", &house.zone))?,
        currency: Currency::parse(&house.currency).map_err(|why| refused("currency", why))?,
        name: name(&she.name)?,
        mail: mail(&she.mail)?,
        password: she.password.clone(),
        demo: true,
    };
    people::create_owner(app, new).await?.map(|_| ()).ok_or(DemoRefused::NotEmpty)
}

fn name(text: &str) -> Result<PersonName, DemoRefused> {
    PersonName::parse(text).map_err(|why| refused(text, why))
}

fn mail(text: &str) -> Result<Mail, DemoRefused> {
    Mail::parse(text).map_err(|why| refused(text, why))
}

async fn member(app: &App, she: &Colleague) -> Result<Member, DemoRefused> {
    let account = accounts::by_mail(&mut *app.db.read().await?, &mail(&she.mail)?.key()).await?;
    Ok(account.ok_or_else(|| refused(&she.mail, "no account"))?.member)
}

/// Seven days of which the first is today, as a week from Monday.
fn week(she: &Colleague, today: Date) -> Result<WeeklyHours, DemoRefused> {
    let mut days: [DayHours; 7] = Default::default();
    let mut weekday = today.weekday();
    for text in &she.week {
        let hours = DayHours::parse_text(text).map_err(|why| refused(&she.key, why))?;
        if let Some(day) = days.get_mut(usize::from(weekday.number_days_from_monday())) {
            *day = hours;
        }
        weekday = weekday.next();
    }
    Ok(WeeklyHours::of(days))
}

impl Opened {
    /// The owner as one of the team.
    pub(super) fn owner(&self) -> Result<&Member, DemoRefused> {
        match &self.owner {
            Actor::Member(member) => Ok(member),
            _ => Err(refused("the owner", "is none of the team")),
        }
    }

    /// The one who treats as this practitioner.
    pub(super) fn treats_as(&self, id: &PractitionerId) -> Result<&Member, DemoRefused> {
        let found = self.team.values().find(|member| member.practitioner.as_ref() == Some(id));
        found.ok_or_else(|| refused(id, "nobody treats as her"))
    }

    async fn join(
        &mut self,
        app: &App,
        she: &Colleague,
        owner: Option<&Member>,
        today: Date,
    ) -> Result<(), DemoRefused> {
        let her_name = name(&she.name)?;
        let id = team::add(app, &self.owner, &her_name).await?;
        team::save(app, &self.owner, &id, None, (&her_name, true, &week(she, today)?)).await?;
        match owner {
            Some(owner) => {
                team::treat_as(app, owner, &id).await?;
            }
            None => {
                let given = team::give_sign_in(app, &self.owner, &id, &mail(&she.mail)?).await?;
                given.map_err(|why| refused(&she.mail, format!("{why:?}")))?;
                let her = member(app, she).await?;
                let chosen =
                    people::choose_password(app, &her, Stage::Open, she.password.clone(), &Browser::default()).await?;
                let Chosen::Taken(hers) = chosen else {
                    return Err(refused(&she.mail, "that is the first password"));
                };
                people::sign_out(app, &sha256_hex(&hers.token), &Actor::Member(her)).await?;
            }
        }
        for off in &she.off {
            self.take_off(app, Some(id.clone()), off, today).await?;
        }
        self.team.insert(she.key.clone(), member(app, she).await?);
        Ok(())
    }

    async fn take_off(
        &self,
        app: &App,
        whose: Option<PractitionerId>,
        off: &DaysOff,
        today: Date,
    ) -> Result<(), DemoRefused> {
        let days = DateRange::parse(day(today, off.from), day(today, off.to));
        let days = days.map_err(|why| refused(&off.reason, why))?;
        Ok(settings::add_days_off(app, &self.owner, whose, days, off.reason.clone()).await?)
    }

    async fn add_product(&mut self, app: &App, product: &Stock) -> Result<(), DemoRefused> {
        let facts = ProductFacts {
            name: product.name.clone(),
            maker: product.maker.clone(),
            supplier: product.supplier.clone(),
            chemistry: product.chemistry,
            label_test_hours: product.label_hours,
            active: true,
        };
        let Saved::Done(id) = stock::save_product(app, &self.owner, None, None, facts).await? else {
            return Err(refused(&product.key, "not added"));
        };
        self.products.insert(product.key.clone(), id);
        Ok(())
    }

    /// A batch comes in.
    pub(super) async fn add_batch(&self, app: &App, key: &str, lot: &Lot, today: Date) -> Result<(), DemoRefused> {
        let batch = Batch {
            product: of(&self.products, key)?.clone(),
            number: lot.number.clone(),
            days: Days { expires_on: Some(day(today, lot.until)), ..Days::default() },
        };
        stock::save_batch(app, &self.owner, &batch).await?;
        Ok(())
    }

    async fn add_service(&mut self, app: &App, offer: &Offer) -> Result<(), DemoRefused> {
        let by = offer.by.iter().map(|key| Ok(of(&self.team, key)?.practitioner.clone()));
        let tests = offer.tests.iter().map(|key| of(&self.products, key).cloned());
        let facts = ServiceFacts {
            name: offer.name.clone(),
            description: offer.description.clone(),
            minutes: offer.minutes,
            turnaround_minutes: offer.turnaround,
            price_minor: offer.price,
            active: true,
            by: by.collect::<Result<Vec<_>, DemoRefused>>()?.into_iter().flatten().collect(),
            tests: tests.collect::<Result<Vec<_>, _>>()?,
        };
        let id = stock::add_service(app, &self.owner, offer.kind, facts).await?;
        if let Some(rule) = &offer.retouch {
            stock::save_rule(app, &self.owner, &id, None, rule).await?;
        }
        let service = catalogue::service(&mut *app.db.read().await?, &id).await?;
        self.services.insert(offer.key.clone(), service.ok_or_else(|| refused(&offer.key, "not added"))?);
        Ok(())
    }
}
