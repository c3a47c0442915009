//! What was pressed at the chair, as the page's script sends and gets it.

use axum::extract::{Path, State};
use axum::http::header;
use axum::response::IntoResponse;
use serde::{Deserialize, Serialize};
use time::OffsetDateTime;

use crate::actions::chair;
use crate::app::App;
use crate::domain::ids::{ChairEventId, VisitId};
use crate::domain::timing::{Event, Press, Side};
use crate::web::error::Fault;
use crate::web::form::Fields;
use crate::web::guard::Team;
use crate::web::page::Answer;

/// A press on its way. `at` is in Unix seconds of the device's clock.
#[derive(Serialize, Deserialize)]
struct Sent {
    id: ChairEventId,
    kind: String,
    step: u8,
    side: Side,
    at: i64,
    #[serde(skip_serializing_if = "Option::is_none")]
    seconds: Option<u16>,
    /// The press that was a slip.
    #[serde(skip_serializing_if = "Option::is_none")]
    slip: Option<ChairEventId>,
}

impl Sent {
    fn read(self) -> Option<Event> {
        let press = match (self.kind.as_str(), self.seconds, self.slip) {
            ("on", Some(seconds), None) => Press::On(seconds),
            ("set", Some(seconds), None) => Press::Set(seconds),
            ("off", None, None) => Press::Off,
            ("take_back", None, Some(slip)) => Press::TakeBack(slip),
            _ => return None,
        };
        let at = OffsetDateTime::from_unix_timestamp(self.at).ok()?;
        Some(Event { id: self.id, press, step: self.step, side: self.side, at })
    }

    fn of(event: Event) -> Self {
        let (kind, seconds, slip) = match event.press {
            Press::On(seconds) => ("on", Some(seconds), None),
            Press::Set(seconds) => ("set", Some(seconds), None),
            Press::Off => ("off", None, None),
            Press::TakeBack(slip) => ("take_back", None, Some(slip)),
        };
        let at = event.at.unix_timestamp();
        Self { id: event.id, kind: kind.to_owned(), step: event.step, side: event.side, at, seconds, slip }
    }
}

/// What the script is told.
#[derive(Serialize)]
struct Told {
    events: Vec<Sent>,
    refused: usize,
    over: bool,
}

/// Reads what the script sends; nothing when any of it makes no sense.
pub fn read(json: &str) -> Option<Vec<Event>> {
    serde_json::from_str::<Vec<Sent>>(json).ok()?.into_iter().map(Sent::read).collect()
}

/// Writes what [`read`] reads.
///
/// # Errors
/// Never for presses that were read.
pub fn written(events: Vec<Event>) -> serde_json::Result<String> {
    serde_json::to_string(&events.into_iter().map(Sent::of).collect::<Vec<_>>())
}

/// Takes them; without any it only tells what there is.
pub async fn post(State(app): State<App>, team: Team, Path(id): Path<String>, fields: Fields) -> Answer {
    let id = VisitId::parse(&id).map_err(|_| Fault::NotFound)?;
    let now = fields.get("now").parse().ok().and_then(|now| OffsetDateTime::from_unix_timestamp(now).ok());
    let (Some(now), Some(presses)) = (now, read(fields.get("presses"))) else { return Err(Fault::BadRequest) };
    let synced = chair::sync(&app, &team.0, &id, now, presses).await?;
    let told =
        Told { events: synced.events.into_iter().map(Sent::of).collect(), refused: synced.refused, over: synced.over };
    let text = serde_json::to_string(&told).map_err(Fault::internal)?;
    Ok(([(header::CONTENT_TYPE, "application/json")], text).into_response())
}
