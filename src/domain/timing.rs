//! What was pressed at the chair, and the times by eye that follow from it.
//!
//! Every press is an event with an id of its own. They may come late, twice and in any order; what follows from them
//! doesn't depend on that. A timer only informs: product is on until somebody says that it is off.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use time::{Duration, OffsetDateTime};

use super::ids::ChairEventId;

/// A side of the face, as the client has it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// The client's right.
    Right,
    /// The client's left.
    Left,
}

impl Side {
    /// Both, in the order of the forms.
    pub const ALL: [Self; 2] = [Self::Right, Self::Left];

    /// The word that the database and forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Left => "left",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|side| side.as_str() == word)
    }
}

/// What was pressed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Press {
    /// The product is on, for so many seconds.
    On(u16),
    /// So many seconds from when it went on, after all.
    Set(u16),
    /// The product is off.
    Off,
    /// Another press was a slip.
    TakeBack(ChairEventId),
}

/// One press.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// Made where it was pressed.
    pub id: ChairEventId,
    /// What.
    pub press: Press,
    /// Which step of the plan, from 0.
    pub step: u8,
    /// On which side.
    pub side: Side,
    /// When, to the second.
    pub at: OffsetDateTime,
}

/// Product on one side: from when to when.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Worn {
    /// Which step of the plan.
    pub step: u8,
    /// On which side.
    pub side: Side,
    /// When it went on.
    pub on: OffsetDateTime,
    /// How many seconds it was to stay.
    pub seconds: u16,
    /// When it came off; nothing while it is on.
    pub off: Option<OffsetDateTime>,
}

impl Worn {
    /// When its time was up, or will be.
    pub fn up(&self) -> OffsetDateTime {
        self.on + Duration::seconds(i64::from(self.seconds))
    }
}

/// All that was worn, in the order in which it went on.
pub fn worn(events: &[Event]) -> Vec<Worn> {
    let slips: BTreeSet<&ChairEventId> = events
        .iter()
        .filter_map(|event| match &event.press {
            Press::TakeBack(slip) => Some(slip),
            _ => None,
        })
        .collect();
    let mut counted: Vec<&Event> = events.iter().filter(|event| !slips.contains(&event.id)).collect();
    counted.sort_by_key(|event| (event.at, &event.id));
    counted.dedup_by_key(|event| &event.id);
    let mut all: Vec<Worn> = Vec::new();
    for event in counted {
        let (step, side) = (event.step, event.side);
        let open = all.iter_mut().find(|one| (one.step, one.side) == (step, side) && one.off.is_none());
        match (&event.press, open) {
            (Press::On(seconds), None) => all.push(Worn { step, side, on: event.at, seconds: *seconds, off: None }),
            (Press::Set(seconds), Some(worn)) => worn.seconds = *seconds,
            (Press::Off, Some(worn)) => worn.off = Some(event.at),
            // What is on can't go on again, and what isn't on has no time and no end.
            (Press::On(_), Some(_)) | (Press::Set(_) | Press::Off, None) | (Press::TakeBack(_), _) => {}
        }
    }
    all
}

/// Times of one step on one side, as a record holds them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SideTime {
    /// What the step is called.
    pub step: String,
    /// On which side.
    pub side: Side,
    /// When the product went on.
    pub on: OffsetDateTime,
    /// When its time was up, unless it came off before.
    pub up: Option<OffsetDateTime>,
    /// When it came off.
    pub off: OffsetDateTime,
    /// The label's longest time, in seconds; 0 where none was set.
    pub most_seconds: u16,
}

impl SideTime {
    /// How long it was on.
    pub fn length(&self) -> Duration {
        self.off - self.on
    }

    /// How long it stayed on after its time was up.
    pub fn late(&self) -> Option<Duration> {
        self.up.map(|up| self.off - up).filter(|late| late.is_positive())
    }

    /// How far it went over the label's longest time.
    pub fn over(&self) -> Option<Duration> {
        let most = Duration::seconds(i64::from(self.most_seconds));
        Some(self.length() - most).filter(|over| self.most_seconds > 0 && over.is_positive())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use time::macros::datetime;

    const NINE: OffsetDateTime = datetime!(2026-03-02 09:00 UTC);

    fn id(n: u8) -> ChairEventId {
        ChairEventId::from_random([n; 16])
    }

    fn event(n: u8, press: Press, side: Side, second: i64) -> Event {
        Event { id: id(n), press, step: 1, side, at: NINE + Duration::seconds(second) }
    }

    fn lift() -> Vec<Event> {
        vec![
            event(1, Press::On(360), Side::Left, 0),
            event(2, Press::On(360), Side::Right, 90),
            event(3, Press::Off, Side::Left, 361),
            event(4, Press::Set(420), Side::Right, 400),
            event(5, Press::Off, Side::Right, 505),
        ]
    }

    #[test]
    fn each_eye_has_its_own_times_in_the_order_of_application() {
        let worn = worn(&lift());
        let seconds = |at: OffsetDateTime| (at - NINE).whole_seconds();
        let told: Vec<_> =
            worn.iter().map(|one| (one.side, seconds(one.on), seconds(one.up()), one.off.map(seconds))).collect();
        assert_eq!(told, [(Side::Left, 0, 360, Some(361)), (Side::Right, 90, 510, Some(505))]);
    }

    #[test]
    fn a_slip_is_taken_back_whatever_comes_first() {
        let mut events = lift();
        events.insert(0, event(9, Press::TakeBack(id(3)), Side::Left, 363));
        assert_eq!(worn(&events)[0].off, None);
    }

    #[test]
    fn what_is_on_does_not_go_on_again() {
        let mut events = lift();
        events.push(event(7, Press::On(60), Side::Left, 30));
        assert_eq!(worn(&events), worn(&lift()));
        events.push(event(8, Press::On(60), Side::Left, 400));
        assert_eq!(worn(&events).len(), 3, "a second round after the first one is over");
    }

    #[test]
    fn over_the_time_and_over_the_label_are_told_apart() {
        let time = |up: Option<i64>, off: i64| SideTime {
            step: "First lotion".to_owned(),
            side: Side::Left,
            on: NINE,
            up: up.map(|up| NINE + Duration::seconds(up)),
            off: NINE + Duration::seconds(off),
            most_seconds: 480,
        };
        assert_eq!((time(None, 300).late(), time(None, 300).over()), (None, None));
        assert_eq!((time(Some(360), 470).late(), time(Some(360), 470).over()), (Some(Duration::seconds(110)), None));
        assert_eq!(time(Some(360), 500).over(), Some(Duration::seconds(20)));
    }

    fn events() -> impl Strategy<Value = Vec<Event>> {
        let press = prop_oneof![
            (60_u16..600).prop_map(Press::On),
            (60_u16..600).prop_map(Press::Set),
            Just(Press::Off),
            any::<u8>().prop_map(|n| Press::TakeBack(id(n))),
        ];
        let one =
            (any::<u8>(), press, 0_u8..3, any::<bool>(), 0_i64..2000).prop_map(|(n, press, step, left, second)| {
                let side = if left { Side::Left } else { Side::Right };
                Event { id: id(n), press, step, side, at: NINE + Duration::seconds(second) }
            });
        // An id stands for one press.
        prop::collection::vec(one, 0..40).prop_map(|mut all| {
            let mut seen = BTreeSet::new();
            all.retain(|event| seen.insert(event.id.clone()));
            all
        })
    }

    #[test]
    fn a_second_over_the_label_is_over_it() {
        let time = |most_seconds, seconds| SideTime {
            step: "First lotion".to_owned(),
            side: Side::Left,
            on: NINE,
            up: None,
            off: NINE + Duration::seconds(seconds),
            most_seconds,
        };
        assert_eq!((time(480, 480).over(), time(480, 481).over()), (None, Some(Duration::SECOND)));
        assert_eq!(time(1, 2).over(), Some(Duration::SECOND));
        assert_eq!(time(0, 500).over(), None, "no longest time was set");
    }

    proptest! {
        #[test]
        fn nothing_depends_on_how_often_and_in_which_order_events_come(
            (all, shuffled) in events().prop_flat_map(|all| {
                let twice = [all.clone(), all.clone()].concat();
                (Just(all), Just(twice).prop_shuffle())
            })
        ) {
            prop_assert_eq!(worn(&all), worn(&shuffled));
        }

        #[test]
        fn a_side_wears_one_thing_of_a_step_at_a_time(all in events()) {
            let worn = worn(&all);
            for (n, one) in worn.iter().enumerate() {
                prop_assert!(one.off.is_none_or(|off| off >= one.on));
                for later in worn.iter().skip(n + 1).filter(|other| (other.step, other.side) == (one.step, one.side)) {
                    prop_assert!(one.off.is_some_and(|off| off <= later.on));
                }
            }
        }
    }
}
