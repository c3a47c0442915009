//! The owner sets the studio up.

use std::collections::BTreeMap;

use time::{Date, Duration, OffsetDateTime};

use super::DemoRefused;
use super::data::{Colleague, DaysOff, House, Lot, Offer, Stock};
use crate::actions::people::{self, NewOwner};
use crate::app::App;
use crate::domain::hours::{DayHours, WeeklyHours};
use crate::domain::ids::{AccountId, PractitionerId, ProductId, RoomId, ServiceId, TimeOffId};
use crate::domain::money::Currency;
use crate::domain::person::{HomeDial, Mail, PersonName};
use crate::domain::role::{Actor, Member, Role};
use crate::domain::window::RetouchRule;
use crate::domain::zone::Zone;
use crate::store::catalogue::{Batch, Product, Service};
use crate::store::practitioners::{Practitioner, Room, TimeOff};
use crate::store::studio::Studio;
use crate::store::types::sha256_hex;
use crate::store::{accounts, catalogue, practitioners, studio};

/// The studio once it is set up.
pub(super) struct Opened {
    pub(super) studio: Studio,
    pub(super) team: BTreeMap<String, Member>,
    pub(super) services: BTreeMap<String, Service>,
    pub(super) products: BTreeMap<String, ProductId>,
}

pub(super) fn refused(what: &str, why: impl std::fmt::Display) -> DemoRefused {
    DemoRefused::Data(format!("{what}: {why}"))
}

/// The day so many days from today.
pub(super) fn day(today: Date, days: i64) -> Date {
    today.saturating_add(Duration::days(days))
}

pub(super) async fn open(app: &App, house: &House, today: Date) -> Result<Opened, DemoRefused> {
    let owner = create_owner(app, house).await?;
    let mut tx = app.db.write().await?;
    let mut studio = studio::get(&mut tx).await?.ok_or_else(|| refused("studio", "not there"))?;
    studio.address = house.address.clone();
    studio.phone = house.phone.clone();
    studio.mail = house.mail.clone();
    studio.home_dial = HomeDial::parse(&house.home_dial).map_err(|why| refused("home_dial", why))?;
    studio::save(&mut tx, &studio).await?;
    for name in &house.rooms {
        let room = Room { id: RoomId::from_random(app.random.id()), name: name.clone(), active: true };
        practitioners::save_room(&mut tx, &room).await?;
    }
    tx.commit().await?;
    let mut opened = Opened { studio, team: BTreeMap::new(), services: BTreeMap::new(), products: BTreeMap::new() };
    for colleague in &house.team {
        let known = (colleague.mail == owner.0).then(|| owner.1.clone());
        let member = join(app, colleague, known, today).await?;
        opened.team.insert(colleague.key.clone(), member);
    }
    for off in &house.closed {
        take_off(app, None, off, today).await?;
    }
    for stock in &house.products {
        opened.products.insert(stock.key.clone(), add_product(app, stock).await?);
    }
    for offer in &house.services {
        let service = add_service(app, offer, &opened.team, &opened.products).await?;
        opened.services.insert(offer.key.clone(), service);
    }
    Ok(opened)
}

/// What a key of the data stands for.
pub(super) fn of<'m, T>(map: &'m BTreeMap<String, T>, key: &str) -> Result<&'m T, DemoRefused> {
    map.get(key).ok_or_else(|| refused(key, "stands for nothing"))
}

async fn create_owner(app: &App, house: &House) -> Result<(String, Member), DemoRefused> {
    let first = house.team.first().ok_or_else(|| refused("team", "nobody"))?;
    let mail = Mail::parse(&first.mail).map_err(|why| refused(&first.mail, why))?;
    let new = NewOwner {
        studio: PersonName::parse(&house.name).map_err(|why| refused(&house.name, why))?,
        zone: Zone::parse(&house.zone).map_err(|_| refused("zone", &house.zone))?,
        currency: Currency::parse(&house.currency).map_err(|why| refused("currency", why))?,
        name: PersonName::parse(&first.name).map_err(|why| refused(&first.name, why))?,
        mail: mail.clone(),
        password: first.password.clone(),
        demo: true,
    };
    let token = people::create_owner(app, new).await?.ok_or(DemoRefused::NotEmpty)?;
    let account = accounts::by_mail(&mut *app.db.read().await?, &mail.key()).await?;
    let member = account.ok_or_else(|| refused(&first.mail, "no account"))?.member;
    // Nobody's browser holds this session, and the dice that made its token are no secret.
    people::sign_out(app, &sha256_hex(&token), &Actor::Member(member.clone())).await?;
    Ok((first.mail.clone(), member))
}

/// Seven days of which the first is today, as a week from Monday.
fn week(colleague: &Colleague, today: Date) -> Result<WeeklyHours, DemoRefused> {
    let mut days: [DayHours; 7] = Default::default();
    let mut weekday = today.weekday();
    for text in &colleague.week {
        let hours = DayHours::parse_text(text).map_err(|why| refused(&colleague.key, why))?;
        if let Some(day) = days.get_mut(usize::from(weekday.number_days_from_monday())) {
            *day = hours;
        }
        weekday = weekday.next();
    }
    Ok(WeeklyHours::of(days))
}

async fn join(app: &App, colleague: &Colleague, owner: Option<Member>, today: Date) -> Result<Member, DemoRefused> {
    let id = PractitionerId::from_random(app.random.id());
    let she = Practitioner { id: id.clone(), name: colleague.name.clone(), active: true };
    let week = week(colleague, today)?;
    let hash = match owner {
        Some(_) => String::new(),
        None => app.passwords.hash(colleague.password.clone()).await?,
    };
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    practitioners::save(&mut tx, &she, now).await?;
    practitioners::set_hours(&mut tx, &id, week.rows()).await?;
    let member = match owner {
        Some(owner) => owner,
        None => {
            let member = Member {
                account: AccountId::from_random(app.random.id()),
                role: Role::Practitioner,
                name: she.name,
                practitioner: Some(id.clone()),
            };
            accounts::insert(&mut tx, &member, &colleague.mail, &hash, now).await?;
            member
        }
    };
    tx.commit().await?;
    for off in &colleague.off {
        take_off(app, Some(id.clone()), off, today).await?;
    }
    Ok(Member { practitioner: Some(id), ..member })
}

async fn take_off(app: &App, whose: Option<PractitionerId>, off: &DaysOff, today: Date) -> Result<(), DemoRefused> {
    let off = TimeOff {
        id: TimeOffId::from_random(app.random.id()),
        practitioner: whose,
        from: day(today, off.from),
        to: day(today, off.to),
        reason: off.reason.clone(),
    };
    let mut tx = app.db.write().await?;
    practitioners::add_time_off(&mut tx, &off).await?;
    Ok(tx.commit().await?)
}

async fn add_product(app: &App, stock: &Stock) -> Result<ProductId, DemoRefused> {
    let id = ProductId::from_random(app.random.id());
    let product = Product {
        id: id.clone(),
        name: stock.name.clone(),
        maker: stock.maker.clone(),
        chemistry: stock.chemistry,
        label_test_hours: stock.label_hours,
        active: true,
    };
    let mut tx = app.db.write().await?;
    catalogue::save_product(&mut tx, &product).await?;
    tx.commit().await?;
    Ok(id)
}

/// A batch comes in.
pub(super) async fn add_batch(app: &App, product: &ProductId, lot: &Lot, today: Date) -> Result<(), DemoRefused> {
    let batch = Batch { product: product.clone(), number: lot.number.clone(), expires_on: Some(day(today, lot.until)) };
    let mut tx = app.db.write().await?;
    catalogue::save_batch(&mut tx, &batch).await?;
    Ok(tx.commit().await?)
}

async fn add_service(
    app: &App,
    offer: &Offer,
    team: &BTreeMap<String, Member>,
    products: &BTreeMap<String, ProductId>,
) -> Result<Service, DemoRefused> {
    let service = Service {
        id: ServiceId::from_random(app.random.id()),
        kind: offer.kind,
        name: offer.name.clone(),
        description: offer.description.clone(),
        minutes: offer.minutes,
        turnaround_minutes: offer.turnaround,
        price_minor: offer.price,
        retouch: RetouchRule::default_for(offer.kind),
        active: true,
    };
    let by = offer.by.iter().map(|key| Ok(of(team, key)?.practitioner.clone()));
    let by: Vec<PractitionerId> = by.collect::<Result<Vec<_>, DemoRefused>>()?.into_iter().flatten().collect();
    let tests = offer.tests.iter().map(|key| of(products, key).cloned()).collect::<Result<Vec<_>, _>>()?;
    let mut tx = app.db.write().await?;
    catalogue::save_service(&mut tx, &service, &by, &tests).await?;
    tx.commit().await?;
    Ok(service)
}

/// The moment of a civil time on a day of the studio.
pub(super) fn moment(zone: &Zone, on: Date, clock: &str) -> Result<OffsetDateTime, DemoRefused> {
    let minutes = crate::domain::hours::parse_clock(clock).map_err(|why| refused(clock, why))?;
    let time = time::Time::MIDNIGHT + Duration::minutes(i64::from(minutes));
    zone.to_instant(time::PrimitiveDateTime::new(on, time)).map_err(|why| refused(clock, why))
}
