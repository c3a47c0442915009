//! Free times as a page lists them: by day, the next ones first.

use askama::Template;
use axum::response::{IntoResponse, Response};
use time::{Date, Duration, OffsetDateTime};

use crate::actions::booking::{Choice, NotHeld};
use crate::actions::holds::Span;
use crate::app::App;
use crate::domain::schedule::FreeTime;
use crate::domain::zone::Zone;
use crate::store::studio::Studio;
use crate::web::error::over_limit;
use crate::web::page::{Ctx, Page};
use crate::when;
use crate::{t, tf, tn};

/// How many days with free times one page lists.
const DAYS: usize = 7;
/// How many of them are open at once: a week of quarter hours is two hundred buttons.
const OPEN: usize = 2;

/// Why a time that was chosen isn't held, in words.
pub(in crate::web) struct NotHeldView {
    pub(in crate::web) title: &'static str,
    pub(in crate::web) text: String,
}

impl NotHeldView {
    pub(super) fn new(why: NotHeld, zone: &Zone) -> Self {
        let (title, text) = match why {
            NotHeld::Taken => {
                (t("That time was taken a moment ago"), tf("Somebody was quicker. Here are the nearest free times."))
            }
            NotHeld::Enough(_) => (
                t("No more times can be kept from here just now"),
                tf(
                    "Several bookings are being filled in through the network that you use. Please try again after {time}, or call or write: the address is below.",
                ),
            ),
            NotHeld::Spent(_) => (
                t("That time was kept for as long as it may be"),
                tf("Others have to have their chance. Choose another time, or try this one again after {time}."),
            ),
        };
        // The minute that has begun by then is over.
        let after = Self::until(why).map(|until| when::clock(zone.to_civil(until + Duration::seconds(59))));
        Self { title, text: text.with("time", after.unwrap_or_default()).to_string() }
    }

    fn until(why: NotHeld) -> Option<OffsetDateTime> {
        match why {
            NotHeld::Taken => None,
            NotHeld::Enough(until) | NotHeld::Spent(until) => Some(until),
        }
    }

    /// The status that goes with it.
    pub(super) fn answer<T: Template>(why: NotHeld, now: OffsetDateTime, page: T) -> Response {
        match Self::until(why) {
            Some(until) => over_limit(Page::ok(page), (until - now).whole_seconds().max(1)),
            None => Page::conflict(page).into_response(),
        }
    }
}

/// The times that who asks can't hold just now.
pub(super) fn spent(app: &App, ctx: &Ctx, studio: &Studio) -> Vec<Span> {
    app.limits.holds.spent(&ctx.seen.holder(), Duration::minutes(studio.hold_minutes), app.clock.now())
}

/// One day's free times.
pub(in crate::web) struct SlotDay {
    pub(in crate::web) id: String,
    pub(in crate::web) label: String,
    pub(in crate::web) note: String,
    pub(in crate::web) open: bool,
    pub(in crate::web) slots: Vec<Slot>,
}

/// One free time.
pub(in crate::web) struct Slot {
    pub(in crate::web) value: String,
    pub(in crate::web) time: String,
    pub(in crate::web) before: String,
}

/// A page of free times.
#[derive(Default)]
pub(in crate::web) struct Slots {
    pub(in crate::web) days: Vec<SlotDay>,
    /// The first day of the next page, when there is more.
    pub(in crate::web) later: Option<Date>,
}

impl Slots {
    /// The first days from `from` on that have free times.
    pub(in crate::web) fn of<'a>(times: impl IntoIterator<Item = &'a FreeTime<'a>>, from: Option<Date>) -> Self {
        let mut page = Self::default();
        let mut last: Option<Date> = None;
        for time in times.into_iter().filter(|time| from.is_none_or(|from| time.civil.date() >= from)) {
            let date = time.civil.date();
            if last != Some(date) {
                if page.days.len() == DAYS {
                    page.later = Some(date);
                    break;
                }
                page.days.push(SlotDay {
                    id: format!("day-{date}"),
                    label: when::day(date),
                    note: String::new(),
                    open: page.days.len() < OPEN,
                    slots: Vec::new(),
                });
                last = Some(date);
            }
            if let Some(day) = page.days.last_mut() {
                day.slots.push(Slot {
                    value: Choice::of(time).text(),
                    time: when::clock(time.civil),
                    before: format!("{}, ", when::short_day(date)),
                });
            }
        }
        for day in &mut page.days {
            day.note = tn("{n} free", "{n} free", day.slots.len()).to_string();
        }
        page
    }
}
