//! The words that are signed, by version. The first ones ship in `default.json` beside this file.

use serde::{Deserialize, Serialize};

use super::Tick;
use crate::domain::fingerprint::Fingerprint;
use crate::domain::shipped::respeak;
use crate::language::Language;
use crate::t;

/// One version of the consent text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ConsentText {
    content: TextContent,
    canonical: String,
    fingerprint: Fingerprint,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct TextContent {
    version: u32,
    language: String,
    paragraphs: Vec<Paragraph>,
    ticks: Vec<TickText>,
    guardian: String,
}

impl TextContent {
    /// All that is there to be read.
    fn words(&mut self) -> impl Iterator<Item = &mut String> {
        let paragraphs = self.paragraphs.iter_mut().flat_map(|one| [&mut one.title, &mut one.text]);
        paragraphs.chain(self.ticks.iter_mut().map(|tick| &mut tick.text)).chain([&mut self.guardian])
    }
}

/// A paragraph with its heading.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Paragraph {
    /// Its heading.
    pub title: String,
    /// Its words.
    pub text: String,
}

/// The words beside a tick.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TickText {
    /// The tick.
    pub tick: Tick,
    /// Its words.
    pub text: String,
}

/// Why a text is not a consent text.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ConsentTextRefused {
    /// It is not JSON of the right shape.
    #[error("not a consent text: {0}")]
    Shape(String),
    /// It has no words, or a part of it has none.
    #[error("the consent text has a part without words")]
    NoWords,
    /// Each tick stands exactly once.
    #[error("each of the five ticks stands exactly once")]
    Ticks,
}

impl ConsentText {
    /// The text that ships with the program, in the language that is spoken: what is signed is what was read.
    ///
    /// # Errors
    /// [`ConsentTextRefused`] if the shipped file were malformed; a test keeps it well formed.
    pub fn built_in() -> Result<Self, ConsentTextRefused> {
        let mut content = Self::parse(include_str!("default.json"))?.content;
        content.language = Language::spoken().code().to_owned();
        for words in content.words() {
            *words = t(words).to_owned();
        }
        Self::of(content)
    }

    /// Reads and checks one version.
    ///
    /// # Errors
    /// [`ConsentTextRefused`] says what is wrong.
    pub fn parse(json: &str) -> Result<Self, ConsentTextRefused> {
        Self::of(serde_json::from_str(json).map_err(|error| ConsentTextRefused::Shape(error.to_string()))?)
    }

    fn of(mut content: TextContent) -> Result<Self, ConsentTextRefused> {
        let shape = |error: serde_json::Error| ConsentTextRefused::Shape(error.to_string());
        if content.paragraphs.is_empty() || content.words().any(|words| words.trim().is_empty()) {
            return Err(ConsentTextRefused::NoWords);
        }
        let ticks: Vec<Tick> = content.ticks.iter().map(|text| text.tick).collect();
        if ticks != Tick::ALL {
            return Err(ConsentTextRefused::Ticks);
        }
        let canonical = serde_json::to_string(&content).map_err(shape)?;
        let fingerprint = Fingerprint::of(canonical.as_bytes());
        Ok(Self { content, canonical, fingerprint })
    }

    /// The version that follows this one, with other words in the language that is spoken.
    ///
    /// # Errors
    /// [`ConsentTextRefused`] says what is wrong.
    pub fn next(
        &self,
        paragraphs: Vec<Paragraph>,
        ticks: Vec<TickText>,
        guardian: String,
    ) -> Result<Self, ConsentTextRefused> {
        let (version, language) = (self.content.version + 1, Language::spoken().code().to_owned());
        Self::of(TextContent { version, language, paragraphs, ticks, guardian })
    }

    /// The version that follows this one, in another language where it says what ships; words of the studio's own stay.
    ///
    /// # Errors
    /// Never for a text that was checked.
    pub fn respoken(&self, from: Language, to: Language) -> Result<Self, ConsentTextRefused> {
        let (mut before, mut after) = (from.within(Self::built_in)?.content, to.within(Self::built_in)?.content);
        let (version, language) = (self.content.version + 1, to.code().to_owned());
        let mut content = TextContent { version, language, ..self.content.clone() };
        respeak(content.words(), before.words(), after.words());
        Self::of(content)
    }

    /// Whether two versions say the same.
    pub fn same_words(&self, other: &Self) -> bool {
        let TextContent { paragraphs, ticks, guardian, .. } = &self.content;
        let theirs = &other.content;
        *paragraphs == theirs.paragraphs && *ticks == theirs.ticks && *guardian == theirs.guardian
    }

    /// Its version number.
    pub fn version(&self) -> u32 {
        self.content.version
    }

    /// The language it is written in, as an IETF tag such as `en`.
    pub fn language(&self) -> &str {
        &self.content.language
    }

    /// Its paragraphs.
    pub fn paragraphs(&self) -> &[Paragraph] {
        &self.content.paragraphs
    }

    /// The ticks with their words, in the order of [`Tick::ALL`].
    pub fn ticks(&self) -> &[TickText] {
        &self.content.ticks
    }

    /// The words of the guardian's part.
    pub fn guardian(&self) -> &str {
        &self.content.guardian
    }

    /// The text whose SHA-256 is [`Self::fingerprint`]: compact JSON in a fixed order.
    pub fn canonical(&self) -> &str {
        &self.canonical
    }

    /// Names this exact version.
    pub fn fingerprint(&self) -> Fingerprint {
        self.fingerprint
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_text_is_there_whole_in_every_language() {
        let shipped = ConsentText::built_in().unwrap();
        assert_eq!(shipped, ConsentText::parse(include_str!("default.json")).unwrap(), "English as it is written");
        for language in Language::ALL.into_iter().filter(|language| *language != Language::English) {
            let mut said = language.within(ConsentText::built_in).unwrap();
            assert_eq!(said.language(), language.code());
            assert_eq!(ConsentText::parse(said.canonical()).unwrap(), said, "an unspoken reader changes nothing");
            let mut english = shipped.content.clone();
            assert_eq!(said.paragraphs().len(), english.paragraphs.len());
            assert_eq!(english.words().count(), 2 * said.paragraphs().len() + Tick::ALL.len() + 1);
            for (here, there) in said.content.words().zip(english.words()) {
                assert_ne!(here, there, "not in {}", language.name());
            }
        }
    }

    #[test]
    fn a_text_that_follows_has_the_next_number_and_says_what_it_was_given() {
        let first = ConsentText::built_in().unwrap();
        let (paragraphs, ticks) = (first.paragraphs().to_vec(), first.ticks().to_vec());
        let next = |paragraphs, ticks, guardian: &str| first.next(paragraphs, ticks, guardian.to_owned());
        let same = next(paragraphs.clone(), ticks.clone(), first.guardian()).unwrap();
        assert_eq!((first.version(), same.version()), (1, 2));
        assert!(same.same_words(&first) && same.fingerprint() != first.fingerprint());

        let mut other_tick = ticks.clone();
        other_tick[1].text.push('!');
        let fewer = paragraphs[1..].to_vec();
        let others = [
            next(fewer, ticks.clone(), first.guardian()),
            next(paragraphs.clone(), other_tick, first.guardian()),
            next(paragraphs.clone(), ticks.clone(), "I am her mother."),
        ];
        for other in others {
            let other = other.unwrap();
            assert!(!other.same_words(&first) && !first.same_words(&other));
        }
        assert_eq!(next(paragraphs.clone(), ticks.clone(), "Hers.").unwrap().guardian(), "Hers.");
        assert_eq!(next(Vec::new(), ticks.clone(), "Hers."), Err(ConsentTextRefused::NoWords));
        assert_eq!(next(paragraphs.clone(), ticks.clone(), " "), Err(ConsentTextRefused::NoWords));
        assert_eq!(next(paragraphs, ticks[1..].to_vec(), "Hers."), Err(ConsentTextRefused::Ticks));
    }

    #[test]
    fn what_ships_changes_its_language_and_the_studios_own_words_stay() {
        let shipped = ConsentText::built_in().unwrap();
        let own = shipped.next(shipped.paragraphs().to_vec(), shipped.ticks().to_vec(), "Our own.".to_owned()).unwrap();
        let german = own.respoken(Language::English, Language::German).unwrap();
        let there = Language::German.within(ConsentText::built_in).unwrap();
        assert_eq!((german.version(), german.language(), german.guardian()), (3, "de", "Our own."));
        assert_eq!((german.paragraphs(), german.ticks()), (there.paragraphs(), there.ticks()));
    }
}
