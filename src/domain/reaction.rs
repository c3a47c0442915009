//! Reactions: how serious, what to do at once, whom to ask again.

mod state;

use std::fmt;

use serde::{Deserialize, Serialize};
use time::{Duration, OffsetDateTime};

pub use state::{Event, EventRefused, State};

use super::skin_test::TestResult;

/// How serious a reaction is, mildest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    /// Brief watering, mild pink under two hours (common practice, no source).
    Expected,
    /// Itch or redness to 48 hours, no swelling.
    Mild,
    /// Rash that spreads, lid swelling, lash loss, or longer than 48 hours.
    Moderate,
    /// Severe pain, light hurts, blurred or lost sight, blisters, burn, an eye that can't open.
    Serious,
    /// Swelling of face, tongue or throat, short breath, tight chest, collapse.
    Emergency,
}

impl Level {
    /// Every level, mildest first.
    pub const ALL: [Self; 5] = [Self::Expected, Self::Mild, Self::Moderate, Self::Serious, Self::Emergency];

    /// The word that the database and forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Expected => "expected",
            Self::Mild => "mild",
            Self::Moderate => "moderate",
            Self::Serious => "serious",
            Self::Emergency => "emergency",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|level| level.as_str() == word)
    }

    /// Whether the products that were used are blocked for this client: from moderate on.
    pub fn blocks_products(self) -> bool {
        self >= Self::Moderate
    }

    /// When to ask again after a reaction was reported: 24, 48 and 96 hours; an expected one is
    /// only recorded.
    pub fn follow_ups(self, reported_at: OffsetDateTime) -> Vec<OffsetDateTime> {
        let hours: &[i64] = if self == Self::Expected { &[] } else { &[24, 48, 96] };
        hours.iter().map(|hours| reported_at + Duration::hours(*hours)).collect()
    }

    /// When to ask again next; nothing once all is asked.
    pub fn next_follow_up(self, reported_at: OffsetDateTime, now: OffsetDateTime) -> Option<OffsetDateTime> {
        self.follow_ups(reported_at).into_iter().find(|moment| *moment > now)
    }
}

impl fmt::Display for Level {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// A sign that is seen or felt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Sign {
    /// Watering or mild pink for less than two hours.
    BriefWatering,
    /// Itch.
    Itch,
    /// Redness without swelling.
    Redness,
    /// A rash that spreads.
    SpreadingRash,
    /// Swollen lids.
    LidSwelling,
    /// Lashes or brow hairs lost.
    HairLoss,
    /// Severe pain.
    SeverePain,
    /// Light hurts.
    LightHurts,
    /// Blurred or lost sight.
    SightChanged,
    /// Blisters, weeping or a burn.
    BlisterOrBurn,
    /// An eye that can't be opened.
    EyeShut,
    /// Face, tongue or throat swells.
    FaceOrThroatSwelling,
    /// Short breath or a tight chest.
    ShortBreath,
    /// Collapse.
    Collapse,
}

impl Sign {
    /// Every sign, mildest first.
    pub const ALL: [Self; 14] = [
        Self::BriefWatering,
        Self::Itch,
        Self::Redness,
        Self::SpreadingRash,
        Self::LidSwelling,
        Self::HairLoss,
        Self::SeverePain,
        Self::LightHurts,
        Self::SightChanged,
        Self::BlisterOrBurn,
        Self::EyeShut,
        Self::FaceOrThroatSwelling,
        Self::ShortBreath,
        Self::Collapse,
    ];

    /// The word that the database and forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::BriefWatering => "brief_watering",
            Self::Itch => "itch",
            Self::Redness => "redness",
            Self::SpreadingRash => "spreading_rash",
            Self::LidSwelling => "lid_swelling",
            Self::HairLoss => "hair_loss",
            Self::SeverePain => "severe_pain",
            Self::LightHurts => "light_hurts",
            Self::SightChanged => "sight_changed",
            Self::BlisterOrBurn => "blister_or_burn",
            Self::EyeShut => "eye_shut",
            Self::FaceOrThroatSwelling => "face_or_throat_swelling",
            Self::ShortBreath => "short_breath",
            Self::Collapse => "collapse",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|sign| sign.as_str() == word)
    }

    /// The least level that it stands for.
    pub fn level(self) -> Level {
        match self {
            Self::BriefWatering => Level::Expected,
            Self::Itch | Self::Redness => Level::Mild,
            Self::SpreadingRash | Self::LidSwelling | Self::HairLoss => Level::Moderate,
            Self::SeverePain | Self::LightHurts | Self::SightChanged | Self::BlisterOrBurn | Self::EyeShut => {
                Level::Serious
            }
            Self::FaceOrThroatSwelling | Self::ShortBreath | Self::Collapse => Level::Emergency,
        }
    }
}

/// How long a reaction lasted, as far as somebody said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Lasted {
    /// It is still there.
    Still,
    /// It was gone within two hours.
    TwoHours,
    /// It was gone within 48 hours.
    TwoDays,
    /// It was there for longer.
    Longer,
}

impl Lasted {
    /// Every length.
    pub const ALL: [Self; 4] = [Self::Still, Self::TwoHours, Self::TwoDays, Self::Longer];

    /// The word that forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Still => "still",
            Self::TwoHours => "two_hours",
            Self::TwoDays => "two_days",
            Self::Longer => "longer",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|one| one.as_str() == word)
    }

    /// Whether it lasted longer than 48 hours. Where nobody said that it is gone, it is taken to be still there.
    pub fn is_long(said: Option<Self>, since_it_began: Duration) -> bool {
        match said {
            Some(Self::TwoHours | Self::TwoDays) => false,
            Some(Self::Longer) => true,
            Some(Self::Still) | None => since_it_began > Duration::hours(48),
        }
    }
}

/// The level of a reaction: that of its worst sign, and at least moderate when it is a long one, but for what was over in
/// two hours by its name. A person may set it higher, not lower.
pub fn level(signs: &[Sign], long: bool) -> Level {
    let worst = signs.iter().map(|sign| sign.level()).max().unwrap_or(Level::Expected);
    let lasts = signs.iter().any(|sign| *sign != Sign::BriefWatering);
    if lasts && long { worst.max(Level::Moderate) } else { worst }
}

/// The level that a failed skin test opens a report with; none for a result that doesn't fail.
pub fn level_of_test(result: TestResult) -> Option<Level> {
    match result {
        TestResult::ItchOrRaised => Some(Level::Moderate),
        TestResult::SwellingOrBlister => Some(Level::Serious),
        TestResult::EyeOrBreathing => Some(Level::Emergency),
        TestResult::NotYetRead
        | TestResult::NoVisibleChange
        | TestResult::FaintPink
        | TestResult::DidNotReport
        | TestResult::RemovedEarly => None,
    }
}

/// How long to rinse an eye at least, in minutes. Published figures run from 10 to 30; St John
/// Ambulance (UK) says at least 20, which satisfies all but the longest practice figure.
pub const RINSE_MINUTES: u32 = 20;

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::datetime;

    #[test]
    fn the_worst_sign_decides_and_a_further_one_never_lowers_it() {
        assert_eq!(level(&[], true), Level::Expected);
        assert_eq!([false, true].map(|long| level(&[Sign::Itch], long)), [Level::Mild, Level::Moderate]);
        assert_eq!(level(&[Sign::BriefWatering], true), Level::Expected, "it says itself how long it was");
        assert_eq!(level(&[Sign::BriefWatering, Sign::Redness], true), Level::Moderate);
        for sign in Sign::ALL {
            for other in Sign::ALL {
                assert!(level(&[sign, other], false) >= level(&[sign], false));
            }
            assert_eq!(Sign::parse(sign.as_str()), Some(sign));
        }
    }

    #[test]
    fn what_lasted_counts_and_silence_says_that_it_is_still_there() {
        let long = |hours| Lasted::ALL.map(|said| Lasted::is_long(Some(said), Duration::hours(hours)));
        assert_eq!(long(48), [false, false, false, true]);
        assert_eq!(long(49), [true, false, false, true]);
        assert_eq!([48, 49].map(|hours| Lasted::is_long(None, Duration::hours(hours))), [false, true]);
        assert_eq!(Lasted::ALL.map(|one| Lasted::parse(one.as_str())), Lasted::ALL.map(Some));
    }

    #[test]
    fn a_failing_test_result_opens_a_report_that_blocks_and_no_other_does() {
        for result in TestResult::ALL {
            assert_eq!(level_of_test(result).is_some(), result.fails(), "{result}");
            assert!(level_of_test(result).is_none_or(Level::blocks_products), "{result}");
        }
    }

    #[test]
    fn follow_ups_come_after_24_48_and_96_hours() {
        let reported = datetime!(2026-03-09 10:00 UTC);
        assert!(Level::Expected.follow_ups(reported).is_empty());
        let days: Vec<i64> =
            Level::Mild.follow_ups(reported).iter().map(|moment| (*moment - reported).whole_hours()).collect();
        assert_eq!(days, [24, 48, 96]);
    }

    #[test]
    fn she_is_asked_again_at_the_next_of_its_times_and_products_are_blocked_from_moderate_on() {
        let reported = datetime!(2026-03-09 10:00 UTC);
        let next = |hours: i64| {
            let next = Level::Mild.next_follow_up(reported, reported + Duration::hours(hours));
            next.map(|moment| (moment - reported).whole_hours())
        };
        assert_eq!([next(0), next(23), next(24), next(95), next(96)], [Some(24), Some(24), Some(48), Some(96), None]);
        assert_eq!(Level::Expected.next_follow_up(reported, reported), None);
        assert_eq!(Level::ALL.map(Level::blocks_products), [false, false, true, true, true]);
    }
}
