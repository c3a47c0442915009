//! The price that is taken at the end of a visit, noted by hand. Nothing is charged or paid here.

use super::treating::visit_for;
use crate::app::App;
use crate::domain::ids::VisitId;
use crate::domain::money::Money;
use crate::domain::role::{Actor, Member};
use crate::store::audit::Event;
use crate::store::deposits::{self, Fate, How};
use crate::store::takings::{self, Price, Taking};
use crate::store::{Stored, audit, studio};

/// How noting a price ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Noted {
    /// It is noted.
    Done,
    /// There is no such visit, or it isn't hers to see.
    NotThere,
    /// The visit was never begun, so nothing is owed for it; what the studio keeps of a deposit is noted there.
    NotBegun,
    /// The deposit is more than the price, or of another currency, or was given back.
    Deposit,
}

/// Notes the price and how it was paid; with `counts` the deposit is counted towards it.
///
/// # Errors
/// When the database can't.
pub async fn note(app: &App, member: &Member, id: &VisitId, price: &Money, how: How, counts: bool) -> Stored<Noted> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let Some((visit, client)) = visit_for(&mut tx, member, id).await? else { return Ok(Noted::NotThere) };
    if !visit.state.may_have_price() {
        return Ok(Noted::NotBegun);
    }
    let Some(studio) = studio::get(&mut tx).await? else { return Ok(Noted::NotThere) };
    let deposit = deposits::of_visit(&mut tx, id).await?;
    let counted_minor = match (&deposit, counts) {
        (Some(deposit), true) => {
            let fits = deposit.currency == price.currency().as_str() && deposit.amount_minor <= price.minor();
            if !fits || !deposit.fate.may_count() {
                return Ok(Noted::Deposit);
            }
            deposit.amount_minor
        }
        _ => 0,
    };
    if let Some(mut deposit) = deposit.filter(|one| one.fate.may_count()) {
        let fate = if counts { Fate::Counted } else { Fate::Held };
        if deposit.fate != fate {
            (deposit.fate, deposit.noted_by, deposit.noted_at) = (fate, member.name.clone(), now);
            deposits::put(&mut tx, id, &deposit).await?;
        }
    }
    let taken = Price {
        whole_minor: price.minor(),
        counted_minor,
        currency: price.currency().as_str().to_owned(),
        how,
        day: studio.zone.date_at(now),
    };
    let detail = format!("{} {}, {}", price.plain(), taken.currency, how.as_str());
    let taking = Taking { price: taken, noted_by: member.name.clone(), noted_at: now };
    takings::put(&mut tx, id, &taking).await?;
    let event = Event { action: "price.noted", client: Some(&client), object: id.as_str(), detail: &detail };
    audit::append(&mut tx, &Actor::Member(member.clone()), event, now).await?;
    tx.commit().await?;
    Ok(Noted::Done)
}
