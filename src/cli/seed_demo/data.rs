//! The demo as data, in `seed-demo/`. Days count from the demo's own today; weekdays too, so that its today is always a
//! full day.

use serde::Deserialize;
use std::collections::BTreeMap;

use super::DemoRefused;
use crate::domain::catalogue::{Chemistry, ServiceKind};

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
    #[expect(dead_code, reason = "for the records of past treatments, which the story doesn't tell yet")]
    pub(super) uses: Vec<String>,
}

/// A client and what she does.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Guest {
    pub(super) name: String,
    pub(super) phone: String,
    /// How old she is on the demo's today, in years.
    pub(super) age: i32,
    /// Her answers that are not a no.
    #[serde(default)]
    pub(super) health: BTreeMap<String, String>,
    /// A parent who signs with her, and what that parent is to her.
    #[serde(default)]
    pub(super) guardian: Option<(String, String)>,
    /// Her bookings, in order.
    pub(super) bookings: Vec<Booking>,
}

/// One booking.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Booking {
    pub(super) service: String,
    /// The treatment is on this day, or the first free one after it.
    pub(super) day: i64,
    /// At exactly this time.
    #[serde(default)]
    pub(super) at: Option<String>,
    #[serde(default)]
    pub(super) with: Option<String>,
    /// So many days before it she books.
    pub(super) ahead: i64,
}

/// Reads one file.
pub(super) fn read<'a, T: Deserialize<'a>>(file: &'static str, text: &'a str) -> Result<T, DemoRefused> {
    serde_json::from_str(text).map_err(|error| DemoRefused::Data(format!("{file}: {error}")))
}
