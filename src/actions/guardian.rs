//! A parent or guardian is there with a client under age.

use super::treating::{Refused, visit_for};
use crate::app::App;
use crate::domain::ids::VisitId;
use crate::domain::role::{Actor, Member};
use crate::domain::visit::{EventRefused, VisitEvent, VisitState};
use crate::store::audit::{self, Event};
use crate::store::guardians::{self, Present};

/// Notes who is there, once the client has come. The name stays with the visit and out of the audit.
///
/// # Errors
/// [`Refused`]; nothing is changed then.
pub async fn note(app: &App, member: &Member, id: &VisitId, name: &str) -> Result<(), Refused> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let (visit, client) = visit_for(&mut tx, member, id).await?.ok_or(Refused::NotFound)?;
    if visit.state != VisitState::Arrived {
        return Err(EventRefused::State { state: visit.state, event: VisitEvent::Start }.into());
    }
    let present = Present { name: name.to_owned(), noted_by: member.name.clone(), noted_at: now };
    guardians::note(&mut tx, id, &present).await?;
    let event = Event { action: "guardian.present", client: Some(&client), object: id.as_str(), detail: "" };
    audit::append(&mut tx, &Actor::Member(member.clone()), event, now).await?;
    Ok(tx.commit().await?)
}
