//! The demo as data, in `seed-demo/`. Days count from the demo's own today; weekdays too, so that its today is always a
//! full day.

use serde::Deserialize;
use std::collections::BTreeMap;

use super::DemoRefused;
use crate::domain::catalogue::{Chemistry, ServiceKind};
use crate::domain::shield::Shield;
use crate::domain::window::RetouchRule;

/// The studio.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct House {
    pub(super) name: String,
    pub(super) address: String,
    pub(super) phone: String,
    pub(super) mail: String,
    pub(super) zone: String,
    pub(super) currency: String,
    pub(super) home_dial: String,
    pub(super) rooms: Vec<String>,
    pub(super) shields: Vec<Shield>,
    /// The first is the owner.
    pub(super) team: Vec<Colleague>,
    pub(super) closed: Vec<DaysOff>,
    pub(super) products: Vec<Stock>,
    pub(super) services: Vec<Offer>,
}

/// Somebody who treats.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Colleague {
    pub(super) key: String,
    pub(super) name: String,
    pub(super) mail: String,
    pub(super) password: String,
    /// Her hours on seven days, the first of them today's day of the week.
    pub(super) week: [String; 7],
    pub(super) off: Vec<DaysOff>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct DaysOff {
    pub(super) from: i64,
    pub(super) to: i64,
    pub(super) reason: String,
}

/// A product.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Stock {
    pub(super) key: String,
    pub(super) name: String,
    pub(super) maker: String,
    pub(super) supplier: String,
    pub(super) chemistry: Chemistry,
    #[serde(default)]
    pub(super) label_hours: Option<u16>,
    /// The oldest first.
    pub(super) batches: Vec<Lot>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Lot {
    pub(super) number: String,
    pub(super) from: i64,
    pub(super) until: i64,
}

/// A service.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Offer {
    pub(super) key: String,
    pub(super) kind: ServiceKind,
    pub(super) name: String,
    pub(super) description: String,
    pub(super) minutes: u16,
    pub(super) turnaround: u16,
    pub(super) price: u32,
    pub(super) by: Vec<String>,
    pub(super) tests: Vec<String>,
    pub(super) uses: Vec<String>,
    #[serde(default)]
    pub(super) retouch: Option<RetouchRule>,
}

/// A client.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Guest {
    pub(super) name: String,
    pub(super) phone: String,
    /// How old she is on the demo's today, in years.
    pub(super) age: i32,
    /// Her answers that are not a no; of a day, how many days it lies back.
    #[serde(default)]
    pub(super) health: BTreeMap<String, String>,
    /// What came of talking with her, when an answer calls for a talk.
    #[serde(default)]
    pub(super) talked: Option<String>,
    /// A parent who signs with her, and what that parent is to her.
    #[serde(default)]
    pub(super) guardian: Option<(String, String)>,
    #[serde(default)]
    pub(super) lashes: Lashes,
    /// What she comes for again and again.
    #[serde(default)]
    pub(super) habit: Option<Habit>,
    /// What she comes for on a certain day.
    #[serde(default)]
    pub(super) bookings: Vec<Booking>,
}

/// How fast lotion works on her lashes.
#[derive(Deserialize, Clone, Copy, Default, PartialEq, Eq)]
#[serde(rename_all = "snake_case")]
pub(super) enum Lashes {
    Fine,
    #[default]
    Middling,
    Strong,
}

/// The same service, over and over.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Habit {
    pub(super) service: String,
    #[serde(default)]
    pub(super) with: Option<String>,
    pub(super) first: i64,
    /// So many days apart, give or take.
    pub(super) every: i64,
    /// Not later than this day.
    #[serde(default = "far")]
    pub(super) last: i64,
    #[serde(default = "ten")]
    pub(super) ahead: i64,
    /// What was not as usual, by the number of the visit from 0.
    #[serde(default)]
    pub(super) turns: BTreeMap<i64, Turn>,
}

fn far() -> i64 {
    60
}

fn ten() -> i64 {
    10
}

/// One booking.
#[derive(Deserialize, Clone)]
#[serde(deny_unknown_fields)]
pub(super) struct Booking {
    pub(super) service: String,
    /// The treatment is on this day, or the first free one after it.
    pub(super) day: i64,
    /// At exactly this time on that day.
    #[serde(default)]
    pub(super) at: Option<String>,
    #[serde(default)]
    pub(super) with: Option<String>,
    /// So many days before it she books.
    #[serde(default = "ten")]
    pub(super) ahead: i64,
    /// The day of its skin test.
    #[serde(default)]
    pub(super) test: Option<i64>,
    #[serde(default)]
    pub(super) test_at: Option<String>,
    #[serde(default)]
    pub(super) turn: Option<Turn>,
    /// Whether the demo is wrong without it.
    #[serde(default = "yes")]
    pub(super) needed: bool,
}

fn yes() -> bool {
    true
}

/// What was not as usual.
#[derive(Deserialize, Clone, PartialEq, Eq)]
#[serde(rename_all = "snake_case")]
pub(super) enum Turn {
    /// She doesn't come.
    NoShow,
    /// She cancels in time.
    Cancels,
    /// The studio cancels.
    Cancelled,
    /// She takes another time.
    Moves,
    /// She doesn't come to the skin test.
    SkipsTest,
    /// The skin test shows a reaction.
    TestFails,
    /// She skips the skin test, and the treatment is begun all the same: as another service, for this reason.
    Against { done: String, because: String },
    /// Less than she wished.
    Less,
    /// It is stopped.
    Stopped,
    /// It goes well, and the next day there is a reaction; the record is put right for this reason.
    Reaction { because: String },
    /// A figure of the record is put right the next day, for this reason.
    Corrected { because: String },
}

/// Sentences for records.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Words {
    pub(super) lashes: Vec<String>,
    pub(super) brows: Vec<String>,
    pub(super) less: Vec<String>,
    pub(super) stopped: Vec<String>,
    pub(super) reaction: Vec<String>,
    pub(super) reaction_eases: Vec<String>,
    pub(super) reaction_over: Vec<String>,
    pub(super) reaction_corrected: Vec<String>,
    pub(super) sites: Vec<String>,
    pub(super) clear_test: Vec<String>,
    pub(super) failed_test: Vec<String>,
}

/// Reads one file.
pub(super) fn read<'a, T: Deserialize<'a>>(file: &'static str, text: &'a str) -> Result<T, DemoRefused> {
    serde_json::from_str(text).map_err(|error| DemoRefused::Data(format!("{file}: {error}")))
}
