//! `GET /calendar/{token}.ics`: a practitioner's visits for her calendar program: initials and service, nothing else.

use axum::extract::{Path, State};
use axum::http::header;
use axum::response::IntoResponse;
use time::Duration;

use crate::app::App;
use crate::documents::ics::{Calendar, Event, Method};
use crate::store::types::sha256_hex;
use crate::store::visits::Purpose;
use crate::store::{catalogue, clients, feeds, visits};
use crate::t;
use crate::web::error::Fault;
use crate::web::page::{Answer, Ctx};

/// How far back and how far ahead it goes.
const BACK: Duration = Duration::days(30);
const AHEAD: Duration = Duration::days(400);

/// The first letters of a name's words: `M. S.`
fn initials(name: &str) -> String {
    name.split_whitespace().filter_map(|word| word.chars().next()).map(|first| format!("{first}. ")).collect()
}

/// The file.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(file): Path<String>) -> Answer {
    let token = file.strip_suffix(".ics").ok_or(Fault::NotFound)?;
    let studio = ctx.studio()?;
    let now = app.clock.now();
    let mut c = app.db.read().await?;
    let whose = feeds::by_token(&mut c, &sha256_hex(token)).await?.ok_or(Fault::NotFound)?;
    let services = catalogue::services(&mut c).await?;
    let mut events = Vec::new();
    for visit in visits::between(&mut c, now - BACK, now + AHEAD).await? {
        if visit.practitioner != whose || !visit.state.occupies_chair() {
            continue;
        }
        let client = match &visit.client {
            Some(id) => clients::get(&mut c, id).await?.map(|client| initials(client.name.as_str())),
            None => None,
        };
        let service = services.iter().find(|one| one.id == visit.service).map_or("", |one| &one.name);
        let what = match visit.purpose {
            Purpose::Treatment => service.to_owned(),
            Purpose::SkinTest => t("Skin test").to_owned(),
        };
        events.push(Event {
            sequence: visit.sequence,
            starts: visit.starts_at,
            ends: visit.ends_at,
            cancelled: false,
            summary: format!("{}{what}", client.unwrap_or_default()),
            visit: visit.id,
        });
    }
    let calendar = Calendar {
        method: Method::Publish,
        zone: studio.zone.clone(),
        address: studio.address.clone(),
        organizer: None,
        attendee: None,
        stamp: now,
        events,
    };
    Ok(([(header::CONTENT_TYPE, "text/calendar; charset=utf-8; method=PUBLISH")], calendar.to_ics()).into_response())
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_name_is_cut_to_its_initials() {
        assert_eq!(super::initials("Zoë  Łącka-Nørgård"), "Z. Ł. ");
    }
}
