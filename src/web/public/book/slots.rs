//! Free times as a page lists them: by day, the next ones first.

use time::Date;

use crate::actions::booking::Choice;
use crate::domain::schedule::FreeTime;
use crate::tn;
use crate::when;

/// How many days with free times one page lists.
const DAYS: usize = 7;
/// How many of them are open at once: a week of quarter hours is two hundred buttons.
const OPEN: usize = 2;

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
    pub(in crate::web) fn of(times: &[FreeTime<'_>], from: Option<Date>) -> Self {
        let mut page = Self::default();
        let mut last: Option<Date> = None;
        for time in times.iter().filter(|time| from.is_none_or(|from| time.civil.date() >= from)) {
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
