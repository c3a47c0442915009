//! The steps of a treatment as data: what goes where, for how long, and for how long at most.
//!
//! What ships is common practice without a source: the product's label decides, and the studio writes its minutes here.
//! As long as the studio has not written a label's longest time, the shipped minutes are also the most.

use serde::{Deserialize, Serialize};

use super::catalogue::ServiceKind;
use super::label::{Label, Note, TextRefused};
use crate::{t, tc};

/// What a step puts on, as far as a record has a place of its own for its minutes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Part {
    /// The lotion that opens the hair.
    LotionOne,
    /// The lotion that sets it.
    LotionTwo,
    /// The tint.
    Tint,
    /// Something else.
    Other,
}

impl Part {
    /// Every part.
    pub const ALL: [Self; 4] = [Self::LotionOne, Self::LotionTwo, Self::Tint, Self::Other];

    /// The word that forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::LotionOne => "lotion_one",
            Self::LotionTwo => "lotion_two",
            Self::Tint => "tint",
            Self::Other => "other",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|part| part.as_str() == word)
    }
}

/// What shortens the time on a client's lashes, where the studio says so.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Trait {
    /// Fine lashes.
    Fine,
    /// Lashes that are tinted already.
    Tinted,
    /// Lashes that still carry a lift.
    Lifted,
}

impl Trait {
    /// Every trait.
    pub const ALL: [Self; 3] = [Self::Fine, Self::Tinted, Self::Lifted];

    /// The word that forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Fine => "fine",
            Self::Tinted => "tinted",
            Self::Lifted => "lifted",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|one| one.as_str() == word)
    }
}

/// How long something may be on the skin. In whole minutes, as labels print it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Minutes {
    /// The usual time.
    pub usual: u16,
    /// The longest time of the label.
    pub most: u16,
    /// On fine lashes.
    pub fine: Option<u16>,
    /// On tinted lashes.
    pub tinted: Option<u16>,
    /// On lashes that were lifted before.
    pub lifted: Option<u16>,
}

impl Minutes {
    fn of(self, one: Trait) -> Option<u16> {
        match one {
            Trait::Fine => self.fine,
            Trait::Tinted => self.tinted,
            Trait::Lifted => self.lifted,
        }
    }

    /// The time for lashes with these traits, and the trait that shortens it: the shortest that applies.
    pub fn for_traits(self, traits: &[Trait]) -> (u16, Option<Trait>) {
        let shorter = traits.iter().filter_map(|one| Some((self.of(*one)?, Some(*one))));
        shorter
            .filter(|(minutes, _)| *minutes < self.usual)
            .min_by_key(|(minutes, _)| *minutes)
            .unwrap_or((self.usual, None))
    }
}

/// One step.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "StoredStep", into = "StoredStep")]
pub struct Step {
    name: String,
    place: String,
    part: Part,
    minutes: Option<Minutes>,
}

/// Why a step or a plan is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum StepRefused {
    /// Its name.
    #[error("the name: {0}")]
    Name(TextRefused),
    /// What goes where.
    #[error("the place: {0}")]
    Place(TextRefused),
    /// A time is not from 1 to [`Step::MOST_MINUTES`] minutes.
    #[error("a time is from 1 to {} minutes", Step::MOST_MINUTES)]
    Range,
    /// A time is longer than the label's longest.
    #[error("a time is longer than the longest")]
    OverMost,
    /// A reduced time is longer than the usual one.
    #[error("a reduced time is longer than the usual one")]
    NotReduced,
    /// A plan has 1 to [`Plan::MOST_STEPS`] steps.
    #[error("a plan has 1 to {} steps", Plan::MOST_STEPS)]
    Count,
}

#[derive(Serialize, Deserialize)]
struct StoredStep {
    name: String,
    place: String,
    part: Part,
    minutes: Option<Minutes>,
}

impl Step {
    /// The most characters of a name.
    pub const MOST_NAME: usize = 60;
    /// The most characters of what goes where.
    pub const MOST_PLACE: usize = 300;
    /// The longest time that any step may have.
    pub const MOST_MINUTES: u16 = 60;

    /// A step, with a timer where it has minutes.
    ///
    /// # Errors
    /// [`StepRefused`]
    pub fn parse(name: &str, place: &str, part: Part, minutes: Option<Minutes>) -> Result<Self, StepRefused> {
        let name = Label::parse(name, Self::MOST_NAME).map_err(StepRefused::Name)?.as_str().to_owned();
        let place = Note::parse(place, Self::MOST_PLACE).map_err(StepRefused::Place)?.as_str().to_owned();
        if let Some(minutes) = minutes {
            let reduced = [minutes.fine, minutes.tinted, minutes.lifted];
            let mut all = reduced.into_iter().flatten().chain([minutes.usual, minutes.most]);
            if !all.all(|time| (1..=Self::MOST_MINUTES).contains(&time)) {
                return Err(StepRefused::Range);
            }
            if minutes.usual > minutes.most {
                return Err(StepRefused::OverMost);
            }
            if reduced.into_iter().flatten().any(|time| time > minutes.usual) {
                return Err(StepRefused::NotReduced);
            }
        }
        Ok(Self { name, place, part, minutes })
    }

    /// What it is called.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What goes where.
    pub fn place(&self) -> &str {
        &self.place
    }

    /// What it puts on.
    pub fn part(&self) -> Part {
        self.part
    }

    /// How long; nothing for a step without a timer.
    pub fn minutes(&self) -> Option<Minutes> {
        self.minutes
    }
}

impl TryFrom<StoredStep> for Step {
    type Error = StepRefused;
    fn try_from(stored: StoredStep) -> Result<Self, StepRefused> {
        Self::parse(&stored.name, &stored.place, stored.part, stored.minutes)
    }
}

impl From<Step> for StoredStep {
    fn from(step: Step) -> Self {
        Self { name: step.name, place: step.place, part: step.part, minutes: step.minutes }
    }
}

/// The steps of a treatment, in their order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "Vec<Step>", into = "Vec<Step>")]
pub struct Plan(Vec<Step>);

impl Plan {
    /// The most steps of a plan.
    pub const MOST_STEPS: usize = 10;

    /// Steps in their order.
    ///
    /// # Errors
    /// [`StepRefused::Count`]
    pub fn parse(steps: Vec<Step>) -> Result<Self, StepRefused> {
        if (1..=Self::MOST_STEPS).contains(&steps.len()) { Ok(Self(steps)) } else { Err(StepRefused::Count) }
    }

    /// The steps.
    pub fn steps(&self) -> &[Step] {
        &self.0
    }

    /// What ships for a kind of service, in the language that is spoken. Common practice, no source: the label decides.
    pub fn shipped(kind: ServiceKind) -> Self {
        let lift = [
            plain(
                t("Shield and lashes"),
                t(
                    "Clean and dry the lashes. Place the shield at the root, lay the lashes on it one by one, straight and apart.",
                ),
            ),
            timed(
                Part::LotionOne,
                t("First lotion"),
                t("From just above the root to two thirds of the lash, not on the tips and not on the skin."),
                6,
            ),
            plain(t("First lotion off"), t("Wipe it off upwards with dry swabs. Nothing of it may stay.")),
            timed(Part::LotionTwo, t("Second lotion"), t("On the same part of the lash as the first lotion."), 5),
            plain(t("Second lotion off"), t("Wipe it off upwards with dry swabs.")),
        ];
        let tint = timed(
            Part::Tint,
            t("Lash tint"),
            t("Lower lashes on the pad, then root to tip, not on the skin and not between the lids."),
            5,
        );
        let off = |what: &str| plain(what, t("Wipe with damp swabs until they stay clean."));
        let release = plain(
            t("Shield off"),
            t("Loosen lashes and shield with damp swabs, from the outer end. Rinse the eyes where no tint follows."),
        );
        let steps = match kind {
            ServiceKind::LashLift => lift.into_iter().chain([release]).collect(),
            ServiceKind::LashTint => vec![
                plain(
                    t("Pads and barrier"),
                    t("Barrier cream on the skin, pads close under the lower lashes, eyes closed."),
                ),
                tint,
                off(t("Tint off")),
            ],
            ServiceKind::LiftAndTint => lift.into_iter().chain([tint, off(t("Tint off")), release]).collect(),
            ServiceKind::BrowLamination => vec![
                plain(t("Brows"), t("Clean and dry the brows, barrier cream around them, brush the hair up.")),
                timed(Part::LotionOne, t("First lotion"), t("On the hair, thin, away from the lid."), 6),
                plain(t("First lotion off"), t("Wipe it off with dry swabs.")),
                timed(Part::LotionTwo, t("Second lotion"), t("On the hair in its new direction."), 5),
                plain(t("Second lotion off"), t("Wipe it off, then care oil.")),
            ],
            ServiceKind::BrowTint => vec![
                plain(t("Brows"), t("Clean and dry the brows, barrier cream around them.")),
                timed(Part::Tint, t("Brow tint"), t("Inside the shape, from the tail inwards."), 5),
                off(t("Tint off")),
            ],
        };
        Self(steps)
    }

    /// What ships for a skin test. How long the product stays on and when the test is read is the label's to say.
    pub fn shipped_skin_test() -> Self {
        Self(vec![
            plain(tc("a step", "Place"), t("Behind the ear or in the bend of the elbow, on whole, clean, dry skin.")),
            plain(
                t("Product"),
                t("A spot of the product, mixed as on the lashes, as large and for as long as its label says."),
            ),
            plain(
                tc("a step", "Afterwards"),
                t("Say what to look for and whom to call: itch, redness, swelling, at once and for days."),
            ),
        ])
    }
}

fn plain(name: &str, place: &str) -> Step {
    Step { name: name.to_owned(), place: place.to_owned(), part: Part::Other, minutes: None }
}

fn timed(part: Part, name: &str, place: &str, usual: u16) -> Step {
    let minutes = Minutes { usual, most: usual, fine: None, tinted: None, lifted: None };
    Step { part, minutes: Some(minutes), ..plain(name, place) }
}

impl TryFrom<Vec<Step>> for Plan {
    type Error = StepRefused;
    fn try_from(steps: Vec<Step>) -> Result<Self, StepRefused> {
        Self::parse(steps)
    }
}

impl From<Plan> for Vec<Step> {
    fn from(plan: Plan) -> Self {
        plan.0
    }
}

#[cfg(test)]
mod tests;
