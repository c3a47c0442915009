//! Which shield suits a client's lashes.
//!
//! A shield's arc runs from the lid's edge to its top. A lash of length ℓ reaches `ℓ / arc` of the way
//! up; about three quarters is the aim, and the smaller the shield, the stronger the lift (common
//! practice, no source). Sizes differ by maker, so the arcs are the studio's own table. The ranking is
//! an aid: the practitioner decides with the shield held to the lid.

use serde::{Deserialize, Serialize};

/// How far up the shield lashes should reach (common practice, no source).
pub const AIM: f64 = 0.75;
/// How much the wanted effect moves the aim: a smaller shield, up which lashes reach farther, lifts more. A design choice.
const SHIFT: f64 = 0.1;
/// Lashes that reach less far than this are hardly lifted (common practice, no source).
const LITTLE: f64 = 0.5;

/// One size of shield in the studio's table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "StoredShield", into = "StoredShield")]
pub struct Shield {
    name: String,
    arc_mm: f64,
}

/// Why a shield or lengths are refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ShieldRefused {
    /// The size has no name, or one of more than 40 letters.
    #[error("a shield has a name of 1 to 40 letters")]
    Name,
    /// The arc is not from 1 to 30 mm.
    #[error("a shield's arc is from 1 to 30 mm")]
    Arc,
    /// A lash is not from 1 to 20 mm long.
    #[error("a lash is from 1 to 20 mm long")]
    Length,
}

#[derive(Serialize, Deserialize)]
struct StoredShield {
    name: String,
    arc_mm: f64,
}

impl Shield {
    /// A size with the length of its arc from the lid's edge to the top, 1 to 30 mm.
    ///
    /// # Errors
    /// [`ShieldRefused::Name`] or [`ShieldRefused::Arc`].
    pub fn parse(name: &str, arc_mm: f64) -> Result<Self, ShieldRefused> {
        let name = name.trim();
        if !(1..=40).contains(&name.chars().count()) {
            return Err(ShieldRefused::Name);
        }
        if !(1.0..=30.0).contains(&arc_mm) {
            return Err(ShieldRefused::Arc);
        }
        Ok(Self { name: name.to_owned(), arc_mm })
    }

    /// What the studio calls it.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Its arc in mm.
    pub fn arc_mm(&self) -> f64 {
        self.arc_mm
    }
}

impl TryFrom<StoredShield> for Shield {
    type Error = ShieldRefused;
    fn try_from(stored: StoredShield) -> Result<Self, ShieldRefused> {
        Self::parse(&stored.name, stored.arc_mm)
    }
}

impl From<Shield> for StoredShield {
    fn from(shield: Shield) -> Self {
        Self { name: shield.name, arc_mm: shield.arc_mm }
    }
}

/// A value for each part of the lid: lashes differ along it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct AlongLid<T> {
    /// Towards the nose.
    pub inner: T,
    /// In the middle.
    pub middle: T,
    /// Towards the temple.
    pub outer: T,
}

impl<T: Copy> AlongLid<T> {
    fn map<U>(self, of: impl Fn(T) -> U) -> AlongLid<U> {
        AlongLid { inner: of(self.inner), middle: of(self.middle), outer: of(self.outer) }
    }

    /// Inner, middle, outer.
    pub fn parts(self) -> [T; 3] {
        [self.inner, self.middle, self.outer]
    }
}

/// A client's lash lengths in mm, each 1 to 20.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LashLengths(AlongLid<f64>);

impl LashLengths {
    /// Reads three measured lengths in mm.
    ///
    /// # Errors
    /// [`ShieldRefused::Length`] when one is not from 1 to 20 mm.
    pub fn parse(mm: AlongLid<f64>) -> Result<Self, ShieldRefused> {
        if mm.parts().into_iter().all(|length| (1.0..=20.0).contains(&length)) {
            Ok(Self(mm))
        } else {
            Err(ShieldRefused::Length)
        }
    }

    /// The lengths in mm.
    pub fn mm(self) -> AlongLid<f64> {
        self.0
    }
}

/// How strong a lift she would like.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Effect {
    /// A soft bend: a larger shield.
    Soft,
    /// In between.
    Even,
    /// A strong lift: a smaller shield.
    Strong,
}

impl Effect {
    /// Every effect, the softest first.
    pub const ALL: [Self; 3] = [Self::Soft, Self::Even, Self::Strong];

    /// The word that the database and forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Soft => "soft",
            Self::Even => "even",
            Self::Strong => "strong",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|effect| effect.as_str() == word)
    }

    /// The reach to aim at.
    pub fn aim(self) -> f64 {
        match self {
            Self::Soft => AIM - SHIFT,
            Self::Even => AIM,
            Self::Strong => AIM + SHIFT,
        }
    }
}

/// What a shield does to the lashes of one part of the lid.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Look {
    /// They reach over the top and kink there.
    KinksOverTheTop,
    /// They lie on the shield.
    Lifts,
    /// They reach so little of it that hardly a difference is seen.
    LittleDifference,
}

impl Look {
    fn of(reach: f64) -> Self {
        if reach > 1.0 {
            Self::KinksOverTheTop
        } else if reach < LITTLE {
            Self::LittleDifference
        } else {
            Self::Lifts
        }
    }
}

/// A shield as it would lie on this client's lashes.
#[derive(Debug, Clone, PartialEq)]
pub struct ShieldChoice<'a> {
    /// The shield.
    pub shield: &'a Shield,
    /// Lash length over arc; above 1 the lashes reach over the top.
    pub reach: AlongLid<f64>,
    /// What that looks like.
    pub look: AlongLid<Look>,
}

impl ShieldChoice<'_> {
    /// The mean distance of the three reaches from the effect's aim.
    pub fn distance(&self, effect: Effect) -> f64 {
        self.reach.parts().into_iter().map(|reach| (reach - effect.aim()).abs()).sum::<f64>() / 3.0
    }

    fn kinks(&self) -> bool {
        self.look.parts().contains(&Look::KinksOverTheTop)
    }
}

/// All shields, the most fitting first: by the mean distance from the effect's aim, those that would kink
/// lashes anywhere after all others.
pub fn rank(shields: &[Shield], lashes: LashLengths, effect: Effect) -> Vec<ShieldChoice<'_>> {
    let mut choices: Vec<ShieldChoice<'_>> = shields
        .iter()
        .map(|shield| {
            let reach = lashes.mm().map(|length| length / shield.arc_mm);
            ShieldChoice { shield, reach, look: reach.map(Look::of) }
        })
        .collect();
    choices.sort_by(|a, b| a.kinks().cmp(&b.kinks()).then(a.distance(effect).total_cmp(&b.distance(effect))));
    choices
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table() -> Vec<Shield> {
        [("S", 8.0), ("M", 10.0), ("L", 12.0), ("XL", 20.0)]
            .map(|(name, arc)| Shield::parse(name, arc).unwrap())
            .to_vec()
    }

    fn lashes(inner: f64, middle: f64, outer: f64) -> LashLengths {
        LashLengths::parse(AlongLid { inner, middle, outer }).unwrap()
    }

    #[test]
    // Common practice, no source.
    fn the_shield_whose_lashes_reach_three_quarters_comes_first() {
        let table = table();
        let ranked = rank(&table, lashes(7.5, 7.5, 7.5), Effect::Even);
        let names: Vec<&str> = ranked.iter().map(|choice| choice.shield.name()).collect();
        assert_eq!(names, ["M", "L", "S", "XL"]);
        assert!(ranked[0].distance(Effect::Even) < 1e-12);
        assert_eq!(ranked[3].look.middle, Look::LittleDifference);
    }

    /// Common practice, no source: the smaller the shield, the stronger the lift.
    #[test]
    fn a_stronger_lift_takes_a_smaller_shield() {
        let table = table();
        let first = |effect| rank(&table, lashes(7.0, 7.0, 7.0), effect)[0].shield.arc_mm();
        let arcs = Effect::ALL.map(first);
        assert_eq!(arcs, [10.0, 10.0, 8.0]);
        let wider = |effect| rank(&table, lashes(7.8, 7.8, 7.8), effect)[0].shield.arc_mm();
        assert_eq!(Effect::ALL.map(wider), [12.0, 10.0, 10.0]);
    }

    #[test]
    fn lashes_that_reach_over_the_top_anywhere_put_a_shield_last() {
        let table = table();
        let ranked = rank(&table, lashes(6.0, 8.1, 6.0), Effect::Even);
        assert_eq!(ranked.last().unwrap().shield.name(), "S");
        assert_eq!(
            ranked.last().unwrap().look,
            AlongLid { inner: Look::Lifts, middle: Look::KinksOverTheTop, outer: Look::Lifts }
        );
    }

    #[test]
    fn impossible_sizes_are_refused() {
        assert_eq!(Shield::parse(" ", 9.0), Err(ShieldRefused::Name));
        assert_eq!(Shield::parse("M", f64::NAN), Err(ShieldRefused::Arc));
        let none = AlongLid { inner: 0.0, middle: 8.0, outer: 8.0 };
        assert_eq!(LashLengths::parse(none), Err(ShieldRefused::Length));
    }

    #[test]
    fn the_edges_of_what_a_shield_does() {
        assert_eq!([1.0, LITTLE].map(Look::of), [Look::Lifts; 2]);
        assert_eq!([1.01, LITTLE - 0.01].map(Look::of), [Look::KinksOverTheTop, Look::LittleDifference]);
        let table = [Shield::parse("M", 10.0).unwrap()];
        let choice = &rank(&table, lashes(6.0, 7.5, 8.0), Effect::Even)[0];
        // 0.15, 0 and 0.05 from the aim of 0.75.
        assert!((choice.distance(Effect::Even) - 0.2 / 3.0).abs() < 1e-12);
        assert!(Shield::parse(&"M".repeat(40), 10.0).is_ok());
        assert_eq!(Shield::parse(&"M".repeat(41), 10.0), Err(ShieldRefused::Name));
    }
}
