//! Services with their retouch rules, products and batches.

use serde::Serialize;
use time::Date;

use super::seen::{Saved, overtaken};
use crate::app::App;
use crate::domain::catalogue::{Area, Chemistry, ServiceKind};
use crate::domain::ids::{PractitionerId, ProductId, ServiceId};
use crate::domain::limits::Label;
use crate::domain::mark::Mark;
use crate::domain::role::Actor;
use crate::domain::window::RetouchRule;
use crate::store::audit::Event;
use crate::store::catalogue::{self, Batch, Product, Service};
use crate::store::{Connection, Stored, audit};

/// What the owner says about a service.
#[derive(Debug, Clone, Serialize)]
pub struct ServiceFacts {
    /// What it is called.
    pub name: String,
    /// A few words for clients.
    pub description: String,
    /// How long it takes, 5 to 480 minutes.
    pub minutes: u16,
    /// How long the room needs afterwards, 0 to 120 minutes.
    pub turnaround_minutes: u16,
    /// Its price in minor units of the studio's currency.
    pub price_minor: u32,
    /// Whether it can be booked.
    pub active: bool,
    /// Who gives it.
    pub by: Vec<PractitionerId>,
    /// Which products need a skin test before it.
    pub tests: Vec<ProductId>,
}

impl ServiceFacts {
    /// As they stand.
    ///
    /// # Errors
    /// When the database can't.
    pub async fn stored(c: &mut Connection, service: &Service) -> Stored<Self> {
        Ok(Self {
            name: service.name.clone(),
            description: service.description.clone(),
            minutes: service.minutes,
            turnaround_minutes: service.turnaround_minutes,
            price_minor: service.price_minor,
            active: service.active,
            by: catalogue::given_by(c, &service.id).await?,
            tests: catalogue::tests_for(c, &service.id).await?.into_iter().map(|product| product.id).collect(),
        })
    }

    fn of(self, id: ServiceId, kind: ServiceKind, retouch: RetouchRule) -> Service {
        Service {
            id,
            kind,
            name: self.name,
            description: self.description,
            minutes: self.minutes,
            turnaround_minutes: self.turnaround_minutes,
            price_minor: self.price_minor,
            retouch,
            active: self.active,
        }
    }
}

/// Adds a service, with the retouch rule that its kind starts with.
///
/// # Errors
/// When the database can't.
pub async fn add_service(app: &App, actor: &Actor, kind: ServiceKind, facts: ServiceFacts) -> Stored<ServiceId> {
    let mut tx = app.db.write().await?;
    let id = ServiceId::from_random(app.random.id());
    let (by, tests) = (facts.by.clone(), facts.tests.clone());
    let service = facts.of(id, kind, RetouchRule::default_for(kind));
    catalogue::save_service(&mut tx, &service, &by, &tests).await?;
    let event =
        Event { action: "service.added", object: service.id.as_str(), detail: &service.name, ..Event::default() };
    audit::append(&mut tx, actor, event, app.clock.now()).await?;
    tx.commit().await?;
    Ok(service.id)
}

/// Changes a service. Its kind stays, since past treatments are read by it, and so does its retouch rule. `seen` is the
/// mark of the [`ServiceFacts`] that the form was filled from.
///
/// # Errors
/// When the database can't.
pub async fn save_service(
    app: &App,
    actor: &Actor,
    id: &ServiceId,
    seen: Option<&Mark>,
    facts: ServiceFacts,
) -> Stored<Saved> {
    let mut tx = app.db.write().await?;
    let Some(old) = catalogue::service(&mut tx, id).await? else { return Ok(Saved::Unknown) };
    if overtaken(seen, &ServiceFacts::stored(&mut tx, &old).await?) {
        return Ok(Saved::Overtaken);
    }
    let (by, tests) = (facts.by.clone(), facts.tests.clone());
    let service = facts.of(old.id, old.kind, old.retouch);
    catalogue::save_service(&mut tx, &service, &by, &tests).await?;
    let detail = format!(
        "{}: {} minutes and {}, price {} in the smallest coin, {} products to test{}",
        service.name,
        service.minutes,
        service.turnaround_minutes,
        service.price_minor,
        tests.len(),
        if service.active { "" } else { ", out of use" }
    );
    let event = Event { action: "service.saved", object: id.as_str(), detail: &detail, ..Event::default() };
    audit::append(&mut tx, actor, event, app.clock.now()).await?;
    tx.commit().await?;
    Ok(Saved::Done(()))
}

/// Sets the retouch rule of a service. `seen` is the mark of the rule that the form was filled from.
///
/// # Errors
/// When the database can't.
pub async fn save_rule(
    app: &App,
    actor: &Actor,
    id: &ServiceId,
    seen: Option<&Mark>,
    rule: &RetouchRule,
) -> Stored<Saved> {
    let mut tx = app.db.write().await?;
    let Some(service) = catalogue::service(&mut tx, id).await? else { return Ok(Saved::Unknown) };
    if overtaken(seen, &service.retouch) {
        return Ok(Saved::Overtaken);
    }
    catalogue::set_rule(&mut tx, id, rule).await?;
    let detail = format!("{}: {}", service.name, rule_words(rule));
    let event = Event { action: "retouch-rule.saved", object: id.as_str(), detail: &detail, ..Event::default() };
    audit::append(&mut tx, actor, event, app.clock.now()).await?;
    tx.commit().await?;
    Ok(Saved::Done(()))
}

fn rule_words(rule: &RetouchRule) -> String {
    match rule {
        RetouchRule::Growth(rule) => {
            let limits = rule.limits();
            format!(
                "{} cycle, at least {} days, limits {} {} {} {}",
                rule.cycle().name().as_str(),
                rule.floor_days(),
                limits.two().get(),
                limits.three().get(),
                limits.due().get(),
                limits.lapsed().get()
            )
        }
        RetouchRule::Interval(rule) => {
            format!("days {}, {}, {}", rule.opens_days(), rule.due_days(), rule.lapsed_days())
        }
    }
}

/// What the owner says about a product.
#[derive(Debug, Clone, Serialize)]
pub struct ProductFacts {
    /// What it is called.
    pub name: String,
    /// Who makes it.
    pub maker: String,
    /// Who sold it.
    pub supplier: String,
    /// What it brings near the eye.
    pub chemistry: Chemistry,
    /// Hours that its label asks for between skin test and treatment, 24 to 168, where it names some.
    pub label_test_hours: Option<u16>,
    /// Whether it is in use.
    pub active: bool,
}

impl ProductFacts {
    /// As they stand.
    pub fn stored(product: &Product) -> Self {
        Self {
            name: product.name.clone(),
            maker: product.maker.clone(),
            supplier: product.supplier.clone(),
            chemistry: product.chemistry,
            label_test_hours: product.label_test_hours,
            active: product.active,
        }
    }
}

/// Adds a product, or changes it. `seen` is the mark of the [`ProductFacts`] that the form was filled from.
///
/// # Errors
/// When the database can't.
pub async fn save_product(
    app: &App,
    actor: &Actor,
    id: Option<ProductId>,
    seen: Option<&Mark>,
    facts: ProductFacts,
) -> Stored<Saved<ProductId>> {
    let mut tx = app.db.write().await?;
    let (id, action) = match id {
        Some(id) => {
            let Some(old) = catalogue::product(&mut tx, &id).await? else { return Ok(Saved::Unknown) };
            if overtaken(seen, &ProductFacts::stored(&old)) {
                return Ok(Saved::Overtaken);
            }
            (id, "product.saved")
        }
        None => (ProductId::from_random(app.random.id()), "product.added"),
    };
    let ProductFacts { name, maker, supplier, chemistry, label_test_hours, active } = facts;
    let product = Product { id, name, maker, supplier, chemistry, label_test_hours, label: None, active };
    catalogue::save_product(&mut tx, &product).await?;
    let label = label_test_hours.map_or("no hours on the label".to_owned(), |hours| format!("label: {hours} hours"));
    let detail =
        format!("{}, {}, {label}{}", product.name, chemistry.as_str(), if active { "" } else { ", out of use" });
    let event = Event { action, object: product.id.as_str(), detail: &detail, ..Event::default() };
    audit::append(&mut tx, actor, event, app.clock.now()).await?;
    tx.commit().await?;
    Ok(Saved::Done(product.id))
}

/// Sets what a product's label says against the published limits. `seen` is the mark of the label that the form was
/// filled from.
///
/// # Errors
/// When the database can't.
pub async fn save_label(app: &App, actor: &Actor, id: &ProductId, seen: Option<&Mark>, label: &Label) -> Stored<Saved> {
    let mut tx = app.db.write().await?;
    let Some(product) = catalogue::product(&mut tx, id).await? else { return Ok(Saved::Unknown) };
    if overtaken(seen, &product.label) {
        return Ok(Saved::Overtaken);
    }
    catalogue::set_label(&mut tx, id, label).await?;
    let event =
        Event { action: "label.saved", object: id.as_str(), detail: &label_words(&product, label), ..Event::default() };
    audit::append(&mut tx, actor, event, app.clock.now()).await?;
    tx.commit().await?;
    Ok(Saved::Done(()))
}

fn label_words(product: &Product, label: &Label) -> String {
    let share = |share: &Option<u16>| share.map_or(String::new(), |share| format!(" {share}/100 %"));
    let holds: Vec<String> =
        label.holds.iter().map(|(held, declared)| format!("{}{}", held.as_str(), share(declared))).collect();
    let on = |area| label.areas.contains(&area);
    format!(
        "{}: {}; lashes {}, brows {}; professional only {}; pH in tenths {:?}; from age {:?}",
        product.name,
        if holds.is_empty() { "none of the flagged ingredients".to_owned() } else { holds.join(", ") },
        on(Area::Lash),
        on(Area::Brow),
        label.professional_only,
        label.ph,
        label.age
    )
}

/// Adds a batch of a product, or gives it other days. `false` when the product is unknown.
///
/// # Errors
/// When the database can't.
pub async fn save_batch(app: &App, actor: &Actor, batch: &Batch) -> Stored<bool> {
    let mut tx = app.db.write().await?;
    let Some(product) = catalogue::product(&mut tx, &batch.product).await? else { return Ok(false) };
    catalogue::save_batch(&mut tx, batch).await?;
    let said = |what: &str, day: Option<Date>| day.map_or_else(String::new, |day| format!(", {what} {day}"));
    let detail = format!(
        "{}, batch {}{}{}{}",
        product.name,
        batch.number,
        said("until", batch.days.expires_on),
        said("opened", batch.days.opened_on),
        said("thrown away", batch.days.discarded_on)
    );
    let event = Event { action: "batch.saved", object: batch.product.as_str(), detail: &detail, ..Event::default() };
    audit::append(&mut tx, actor, event, app.clock.now()).await?;
    tx.commit().await?;
    Ok(true)
}
