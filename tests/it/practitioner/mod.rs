//! Pages of the practitioner, and the case they show.
#![expect(clippy::unwrap_used, reason = "a test may fail where it stands")]

mod answers;
mod bottles;
mod calendar;
mod case;
mod chair;
mod clients;
mod growth;
mod guardian;
mod harm;
mod letters;
mod meanwhile;
mod photos;
mod reactions;
mod start;
mod tests;
mod treatment;
mod verdicts;

use palpebra::store::audit::{self, Entry};

use crate::support::TestApp;

/// The newest rows of the audit, the newest first.
async fn log(app: &TestApp) -> Vec<Entry> {
    let mut c = app.app.db.read().await.unwrap();
    assert!(audit::verify(&mut c).await.unwrap().is_ok(), "the chain holds");
    audit::list(&mut c, None, None, 50).await.unwrap()
}

/// The actions of the newest rows that changed something, the newest first.
async fn changes(app: &TestApp) -> Vec<String> {
    let looks = |action: &String| action.ends_with(".seen") || action.starts_with("sign-in");
    log(app).await.into_iter().map(|entry| entry.action).filter(|action| !looks(action)).collect()
}
