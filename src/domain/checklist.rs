//! Short lists that the studio keeps in its own words, and what ships until it has written its own.

use crate::msg;

/// Which list.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ListName {
    /// What is looked at before a treatment starts.
    OnTheDay,
    /// Hygiene before a treatment starts.
    Hygiene,
    /// What goes home with a client whose lashes were treated.
    AftercareLash,
    /// What goes home with a client whose brows were treated.
    AftercareBrow,
}

impl ListName {
    /// Every list.
    pub const ALL: [Self; 4] = [Self::OnTheDay, Self::Hygiene, Self::AftercareLash, Self::AftercareBrow];
    /// The most entries of a list.
    pub const MOST_ENTRIES: usize = 20;
    /// The most characters of an entry.
    pub const MOST_WORDS: usize = 200;

    /// The word that the database and forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::OnTheDay => "on_the_day",
            Self::Hygiene => "hygiene",
            Self::AftercareLash => "aftercare_lash",
            Self::AftercareBrow => "aftercare_brow",
        }
    }

    /// What ships, in English.
    pub fn shipped(self) -> &'static [&'static str] {
        match self {
            Self::OnTheDay => ON_THE_DAY,
            Self::Hygiene => HYGIENE,
            Self::AftercareLash => AFTERCARE_LASH,
            Self::AftercareBrow => AFTERCARE_BROW,
        }
    }
}

const ON_THE_DAY: &[&str] = &[
    msg("Contact lenses are out"),
    msg("No make-up and no extensions"),
    msg("Lids, skin, lashes and brows looked at: calm, whole, nothing sore"),
    msg("She says that her answers still hold, and what has changed"),
    msg("Skin test and consent are valid"),
    msg("Products are in date and made for this area"),
];

/// Follows rules that were written for lash extensions, by analogy: Texas 16 TAC 83.115, Utah R392-702-10 and Oklahoma
/// 175:10-7-33.1; that a spatula never goes back and that mixed tint is used at once is common practice, no source.
const HYGIENE: &[&str] = &[
    msg("Hands washed, gloves new"),
    msg("Chair and surfaces disinfected since the last client, towel and headband fresh"),
    msg("Tweezers and tools cleaned and disinfected"),
    msg("Pads, tape, swabs and brushes are new; no tape was pressed on skin to weaken it"),
    msg("Dishes are fresh or disinfected, spatulas clean; none goes back into a pot"),
];

/// The hours are common practice, no source; to report at once and to watch for a week follows the Finnish Student Health
/// Service and Semmelweis University 2025.
const AFTERCARE_LASH: &[&str] = &[
    msg("Keep your lashes dry for 24 hours, better 48: no steam, no sauna, no swimming."),
    msg("No mascara, no oil-based remover and no rubbing for 48 hours. No curler as long as the lift lasts."),
    msg("Contact lenses again after 24 hours."),
    msg("From the third day clean your lids as usual: clean lids are healthy lids."),
    msg(
        "Itch, swelling, pain or blurred sight: tell us at once, and watch for it for a week. With strong pain, with sight that is blurred or lost, or when a face or throat swells, don’t wait for us: get urgent medical help.",
    ),
];

/// As for lashes.
const AFTERCARE_BROW: &[&str] = &[
    msg("Keep your brows dry for 24 hours, better 48: no steam, no sauna, no swimming."),
    msg("No make-up on them, no oil and no rubbing for 48 hours."),
    msg(
        "Itch, swelling or sore skin: tell us at once, and watch for it for a week. When a face or throat swells, don’t wait for us: get urgent medical help.",
    ),
];
