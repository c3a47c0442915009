//! The table behind the retouch list follows the treatments by itself; here it follows the rules and the names.

use std::collections::BTreeSet;

use super::case::RetouchRules;
use crate::domain::ids::ClientId;
use crate::domain::retouch;
use crate::domain::window::parts;
use crate::store::catalogue::{self, Service};
use crate::store::retouch::lines::{self, PartRule, Spot};
use crate::store::retouch::treated;
use crate::store::{Connection, Db, Stored, types::impossible};

/// Brings the list up to date with the services' rules and the clients' names. It costs little when nothing changed.
///
/// # Errors
/// When the database can't.
pub async fn freshen(db: &Db) -> Stored<()> {
    let mut c = db.read().await?;
    let fresh = moved_rules(&mut c).await?.is_empty() && lines::unnamed(&mut c).await?.is_empty();
    drop(c);
    if fresh {
        return Ok(());
    }
    let mut tx = db.write().await?;
    for rule in moved_rules(&mut tx).await? {
        lines::set_rule(&mut tx, &rule).await?;
    }
    for (client, name) in lines::unnamed(&mut tx).await? {
        lines::set_name(&mut tx, &client, &name.to_lowercase()).await?;
    }
    tx.commit().await
}

/// The rules with which the lines are not made yet.
async fn moved_rules(c: &mut Connection) -> Stored<Vec<PartRule>> {
    let services = catalogue::services(c).await?;
    let known = lines::rules(c).await?;
    Ok(part_rules(&services).filter(|rule| !known.contains(rule)).collect())
}

fn part_rules(services: &[Service]) -> impl Iterator<Item = PartRule> {
    let rules = RetouchRules::of_each(services);
    let each = move |(service, rules): (&Service, RetouchRules)| {
        let rule = |&part| {
            let days = rules.get(part)?.edge_days();
            Some(PartRule { service: service.id.clone(), part, days })
        };
        parts(service.kind).iter().filter_map(rule).collect::<Vec<_>>()
    };
    services.iter().zip(rules).flat_map(each)
}

/// Compares the list with every treatment there is: the clients in whom the two differ, whose lines are then made anew.
/// The list is brought up to date first. Slow where there are many treatments.
///
/// # Errors
/// When the database can't.
pub async fn repair(db: &Db) -> Stored<usize> {
    freshen(db).await?;
    let mut c = db.snapshot().await?;
    let (listed, wanted) = (lines::all(&mut c).await?, from_treatments(&mut c).await?);
    let services = catalogue::services(&mut c).await?;
    let treated = treated(&mut c, &services).await?;
    let mut days = lines::newest(&mut c, &treated.iter().map(|one| &one.client).collect::<Vec<_>>()).await?;
    drop(c);
    let (listed, wanted): (BTreeSet<_>, BTreeSet<_>) =
        (listed.iter().map(key).collect(), wanted.iter().map(key).collect());
    let mut differ: BTreeSet<&ClientId> = listed.symmetric_difference(&wanted).map(|(client, ..)| *client).collect();
    for one in &treated {
        let listed = days.remove(&one.client).unwrap_or_default().into_iter().collect::<BTreeSet<_>>();
        if listed != retouch::newest_days(&one.done) {
            differ.insert(&one.client);
        }
    }
    let mut tx = db.write().await?;
    for client in &differ {
        lines::make_anew(&mut tx, client).await?;
    }
    tx.commit().await?;
    Ok(differ.len())
}

fn key(spot: &Spot) -> (&ClientId, &str, [time::Date; 4]) {
    (&spot.client, spot.service.as_str(), [spot.last, spot.opens, spot.due, spot.lapsed])
}

/// Every line as the whole history of its client gives it.
///
/// # Errors
/// When the file can't be read.
pub async fn from_treatments(c: &mut Connection) -> Stored<Vec<Spot>> {
    let services = catalogue::services(c).await?;
    let rules = RetouchRules::of_each(&services);
    let rule = |service: usize, kind| rules.get(service).and_then(|rules| rules.get(kind));
    let mut found = Vec::new();
    for one in treated(c, &services).await? {
        for line in retouch::lines(&one.client, &one.done, rule) {
            let service = services.get(line.service).ok_or_else(|| impossible("service", "id", one.client.as_str()))?;
            found.push(Spot {
                client: line.client,
                service: service.id.clone(),
                last: line.last,
                opens: line.window.opens(),
                due: line.window.due(),
                lapsed: line.window.lapsed(),
            });
        }
    }
    Ok(found)
}
