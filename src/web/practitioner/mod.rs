//! Pages of the practitioner, which the owner may use too.

pub mod answers;
pub mod arrange;
pub mod block;
pub mod booking;
pub mod calendar;
pub mod chair;
pub mod client;
pub mod clients;
pub mod consent;
pub mod feed;
pub mod growth;
pub mod letters;
pub mod password;
pub mod photos;
pub mod price;
pub mod reaction;
mod reaction_view;
mod read;
mod record_view;
pub mod skin_test;
pub mod today;
pub mod treatment;
mod view;
pub mod visit;
mod words;

use crate::domain::ids::VisitId;
use crate::web::error::Fault;

/// The visit that a path names.
fn visit_id(text: &str) -> Result<VisitId, Fault> {
    VisitId::parse(text).map_err(|_| Fault::NotFound)
}
