//! The steps of services, the shields and the lists: the studio's own, or what ships.

use crate::app::App;
use crate::domain::checklist::ListName;
use crate::domain::ids::ProductId;
use crate::domain::role::Actor;
use crate::domain::role::Member;
use crate::domain::shield::Shield;
use crate::domain::steps::Plan;
use crate::store::audit::Event;
use crate::store::catalogue::Service;
use crate::store::steps::{self, Subject};
use crate::store::{Connection, Stored, audit};

const SHIELDS: &str = "shields";

/// The steps of a service: with this product, or the studio's, or what ships. With the version; 0 for what ships.
///
/// # Errors
/// When the file can't be read.
pub async fn plan(c: &mut Connection, service: &Service, product: Option<&ProductId>) -> Stored<(u32, Plan)> {
    if let Some(product) = product
        && let Some(found) = steps::plan(c, &Subject::Service(service.id.clone(), Some(product.clone()))).await?
    {
        return Ok(found);
    }
    let own = steps::plan(c, &Subject::Service(service.id.clone(), None)).await?;
    Ok(own.unwrap_or_else(|| (0, Plan::shipped(service.kind))))
}

/// The steps of a skin test, with their version; 0 for what ships.
///
/// # Errors
/// When the file can't be read.
pub async fn skin_test(c: &mut Connection) -> Stored<(u32, Plan)> {
    Ok(steps::plan(c, &Subject::SkinTest).await?.unwrap_or_else(|| (0, Plan::shipped_skin_test())))
}

/// The studio's table of shields; empty until the owner writes it, since sizes differ by maker.
///
/// # Errors
/// When the file can't be read.
pub async fn shields(c: &mut Connection) -> Stored<Vec<Shield>> {
    Ok(steps::list(c, SHIELDS).await?.map(|(_, shields)| shields).unwrap_or_default())
}

/// A list in the studio's words, or as it ships.
///
/// # Errors
/// When the file can't be read.
pub async fn list(c: &mut Connection, name: ListName) -> Stored<Vec<String>> {
    let own = steps::list(c, name.as_str()).await?.map(|(_, entries)| entries);
    Ok(own.unwrap_or_else(|| name.shipped().iter().map(|entry| crate::t(entry).to_owned()).collect()))
}

/// Steps that hold from now on; treatments under way keep those that they began with.
///
/// # Errors
/// When the database can't.
pub async fn save_plan(app: &App, member: &Member, of: &Subject, plan: &Plan) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let version = steps::plan(&mut tx, of).await?.map_or(1, |(version, _)| version + 1);
    steps::add_plan(&mut tx, of, version, plan, &member.name, now).await?;
    let minutes: Vec<String> = plan
        .steps()
        .iter()
        .filter_map(|step| {
            Some(format!("{} {} of {} minutes", step.name(), step.minutes()?.usual, step.minutes()?.most))
        })
        .collect();
    let object = match of {
        Subject::Service(service, _) => service.as_str(),
        Subject::SkinTest => "skin_test",
    };
    let detail = format!("version {version}: {}", minutes.join(", "));
    let event = Event { action: "steps.saved", object, detail: &detail, ..Event::default() };
    audit::append(&mut tx, &Actor::Member(member.clone()), event, now).await?;
    tx.commit().await
}

/// The shields that the studio has.
///
/// # Errors
/// When the database can't.
pub async fn save_shields(app: &App, member: &Member, shields: &[Shield]) -> Stored<()> {
    save(app, member, SHIELDS, shields).await
}

/// A list in new words.
///
/// # Errors
/// When the database can't.
pub async fn save_list(app: &App, member: &Member, name: ListName, entries: &[String]) -> Stored<()> {
    save(app, member, name.as_str(), entries).await
}

async fn save<T: serde::Serialize>(app: &App, member: &Member, name: &'static str, entries: &[T]) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let version = steps::list::<serde_json::Value>(&mut tx, name).await?.map_or(1, |(version, _)| version + 1);
    steps::add_list(&mut tx, name, version, entries, &member.name, now).await?;
    let detail = format!("version {version}, {} entries", entries.len());
    let event = Event { action: "list.saved", object: name, detail: &detail, ..Event::default() };
    audit::append(&mut tx, &Actor::Member(member.clone()), event, now).await?;
    tx.commit().await
}
