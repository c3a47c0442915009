//! The languages that the program speaks.
//!
//! English stands where it is used, in templates and sources, and is the key to every other language: a file
//! `templates/words/<code>.po` in the format of GNU gettext. A text goes through one of these on its way to a page, a
//! letter or a paper:
//!
//! | | for | gives |
//! |---|---|---|
//! | [`t`] | a text without gaps, also one that a constant holds | `&str` |
//! | [`tc`] | a text whose English has two meanings; the first argument says which | `&str` |
//! | [`tf`] | a text with gaps, `"Booked with {name}"` | [`Filled`] |
//! | [`tn`] | a count, `"{n} visit"` and `"{n} visits"` | [`Filled`] |
//! | [`tm`] | a text with markup in it, such as `<strong>`; gaps are escaped | [`Markup`] |
//! | [`msg`] | nothing yet: marks a constant that [`t`] will be given | `&'static str` |
//!
//! The studio speaks one language, so that what a client signed and what the insurer reads years later are the same words.
//! Whoever serves a request or does a job for a studio says which by [`Language::scope`]; outside of any, it is English.
//! Logs, the command line, and the names of fields in files for machines are English always.

mod dates;

use std::collections::HashMap;
use std::fmt;
use std::sync::LazyLock;

use askama::filters::{Escaper as _, Html};

pub use dates::{date, decimal, month, short_month, short_weekday, weekday};

tokio::task_local! {
    static SPOKEN: Language;
}

/// A language that all texts are there in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Language {
    /// English, as it is written in the sources.
    #[default]
    English,
    /// German.
    German,
}

impl Language {
    /// All of them.
    pub const ALL: [Self; 2] = [Self::English, Self::German];

    /// Its tag (BCP 47).
    pub const fn code(self) -> &'static str {
        match self {
            Self::English => "en",
            Self::German => "de",
        }
    }

    /// What those who speak it call it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::English => "English",
            Self::German => "Deutsch",
        }
    }

    /// The language of a tag; a region after it doesn't matter.
    pub fn parse(tag: &str) -> Option<Self> {
        let primary = tag.trim().split(['-', '_']).next().unwrap_or_default();
        Self::ALL.into_iter().find(|language| language.code().eq_ignore_ascii_case(primary))
    }

    /// The first language of an `Accept-Language` line that is spoken here; weights are taken to fall along the line, as
    /// browsers write them.
    pub fn accepted(line: &str) -> Self {
        let tags = line.split(',').map(|entry| entry.split(';').next().unwrap_or_default());
        tags.filter_map(Self::parse).next().unwrap_or_default()
    }

    /// What is spoken here and now.
    pub fn spoken() -> Self {
        SPOKEN.try_with(|language| *language).unwrap_or_default()
    }

    /// Speaks this language for as long as a future runs, but not in tasks that it starts: those [`Self::within`].
    pub fn scope<F: Future>(self, future: F) -> impl Future<Output = F::Output> {
        SPOKEN.scope(self, future)
    }

    /// Speaks this language while a function runs, on whatever thread.
    pub fn within<T>(self, work: impl FnOnce() -> T) -> T {
        SPOKEN.sync_scope(self, work)
    }

    fn catalogue(self) -> Option<&'static Catalogue> {
        match self {
            Self::English => None,
            Self::German => Some(&GERMAN),
        }
    }
}

static GERMAN: LazyLock<Catalogue> = LazyLock::new(|| Catalogue::read(include_str!("../templates/words/de.po")));

/// The texts of a language by their English, apart for each meaning.
struct Catalogue(HashMap<String, HashMap<String, Vec<String>>>);

impl Catalogue {
    fn read(file: &str) -> Self {
        let mut texts = HashMap::<_, HashMap<_, _>>::new();
        // What can't be read stays English; a test reads every file whole.
        let Ok(catalogue) = polib::po_file::parse_from_reader(file.as_bytes()) else { return Self(texts) };
        for message in catalogue.messages() {
            let forms = if message.is_plural() {
                message.msgstr_plural().cloned().unwrap_or_default()
            } else {
                vec![message.msgstr().unwrap_or_default().to_owned()]
            };
            if forms.iter().all(|form| !form.is_empty()) {
                texts
                    .entry(message.msgctxt().unwrap_or_default().to_owned())
                    .or_default()
                    .insert(message.msgid().to_owned(), forms);
            }
        }
        Self(texts)
    }

    fn forms(&self, meaning: &str, english: &str) -> Option<&[String]> {
        Some(self.0.get(meaning)?.get(english)?.as_slice())
    }
}

fn look_up<'a>(meaning: &str, english: &'a str) -> &'a str {
    let Some(catalogue) = Language::spoken().catalogue() else { return english };
    catalogue.forms(meaning, english).and_then(<[String]>::first).map_or(english, String::as_str)
}

/// A text in the language that is spoken; what isn't in its file, such as a name, stays as it is.
pub fn t(english: &str) -> &str {
    look_up("", english)
}

/// A text whose English means several things: `tc("a verb", "Book")`.
pub fn tc<'a>(meaning: &str, english: &'a str) -> &'a str {
    look_up(meaning, english)
}

/// A text with gaps like `{name}`, each to be filled by [`Filled::with`].
pub fn tf(english: &str) -> Filled<'_> {
    Filled { text: look_up("", english), gaps: Vec::new() }
}

/// A text for a count, which fills `{n}`: in the languages so far, one form for 1 and another for all other counts.
pub fn tn<'a>(one: &'a str, many: &'a str, n: impl Count) -> Filled<'a> {
    let n = n.count();
    let ours = Language::spoken().catalogue().and_then(|catalogue| catalogue.forms("", one));
    let text = match (ours, n == 1) {
        (Some([first, ..]), true) => first,
        (Some([_, second, ..]), false) => second,
        (_, true) => one,
        (_, false) => many,
    };
    Filled { text, gaps: Vec::new() }.with("n", n)
}

/// A text with markup of ours in it, and gaps that are escaped.
pub fn tm(english: &str) -> Markup<'_> {
    Markup(tf(english))
}

/// Words that are shown as they were stored, whatever is spoken by now; `tag` is the language that they were stored in. A
/// screen reader is told of another language (WCAG 2.2, 3.1.2).
pub fn quoted(stored: &str, tag: &str) -> Markup<'static> {
    let text = if tag == Language::spoken().code() { "{text}" } else { "<span lang=\"{tag}\">{text}</span>" };
    Markup(Filled { text, gaps: Vec::new() }).with("tag", tag).with("text", stored)
}

/// Marks a text for the languages' files where it can't be spoken yet, as in a constant; [`t`] speaks it.
pub const fn msg(english: &'static str) -> &'static str {
    english
}

/// What can be counted.
pub trait Count {
    /// The number.
    fn count(&self) -> i64;
}

macro_rules! counts {
    ($($number:ty)*) => {
        $(impl Count for $number {
            fn count(&self) -> i64 {
                i64::try_from(*self).unwrap_or(i64::MAX)
            }
        })*
    };
}

counts!(u8 u16 u32 u64 usize i32 i64);

impl<T: Count + ?Sized> Count for &T {
    fn count(&self) -> i64 {
        (**self).count()
    }
}

/// A text whose gaps are filled when it is written.
#[derive(Debug, Clone)]
pub struct Filled<'a> {
    text: &'a str,
    gaps: Vec<(&'a str, String)>,
}

impl<'a> Filled<'a> {
    /// Fills the gap `{name}`.
    #[must_use]
    pub fn with(mut self, name: &'a str, value: impl fmt::Display) -> Self {
        self.gaps.push((name, value.to_string()));
        self
    }
}

impl fmt::Display for Filled<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut rest = self.text;
        // What a gap is filled with is never searched for gaps.
        while let Some((before, after)) = rest.split_once('{') {
            f.write_str(before)?;
            let filled = after.split_once('}').and_then(|(name, after)| {
                self.gaps.iter().find(|(gap, _)| *gap == name).map(|(_, value)| (value, after))
            });
            match filled {
                Some((value, after)) => {
                    f.write_str(value)?;
                    rest = after;
                }
                None => {
                    f.write_str("{")?;
                    rest = after;
                }
            }
        }
        f.write_str(rest)
    }
}

impl From<Filled<'_>> for String {
    fn from(filled: Filled<'_>) -> Self {
        filled.to_string()
    }
}

/// A text that is HTML already.
#[derive(Debug, Clone)]
pub struct Markup<'a>(Filled<'a>);

impl<'a> Markup<'a> {
    /// Fills the gap `{name}` with plain text, which is escaped.
    #[must_use]
    pub fn with(self, name: &'a str, value: impl fmt::Display) -> Self {
        let (plain, mut html) = (value.to_string(), String::new());
        // A String takes all that is written to it.
        let _ = Html.write_escaped_str(&mut html, &plain);
        Self(self.0.with(name, html))
    }
}

impl fmt::Display for Markup<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

// Only texts of ours are made markup, and their gaps are escaped.
impl askama::filters::HtmlSafe for Markup<'_> {}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn gaps_are_filled_once_and_markup_is_escaped() {
        let said = tf("{a} and {b}, {c}").with("a", "{b}").with("b", 2);
        assert_eq!(said.to_string(), "{b} and 2, {c}");
        let page = tm("<b>{name}</b>").with("name", "<i>&\"'");
        assert_eq!(page.to_string(), "<b>&#60;i&#62;&#38;&#34;&#39;</b>");
    }

    #[test]
    fn what_was_stored_in_another_language_says_in_which() {
        let said = || quoted("Pregnant & well?", "en").to_string();
        assert_eq!(said(), "Pregnant &#38; well?");
        assert_eq!(Language::German.within(said), "<span lang=\"en\">Pregnant &#38; well?</span>");
    }

    #[test]
    fn counts_have_their_form_in_each_language() {
        let said = |n: usize| tn("{n} day", "{n} days", n).to_string();
        assert_eq!([said(0), said(1), said(2)], ["0 days", "1 day", "2 days"]);
        let german = Language::German.within(|| [said(0), said(1), said(2)]);
        assert_eq!(german, ["0 Tage", "1 Tag", "2 Tage"]);
    }

    #[tokio::test]
    async fn a_language_is_spoken_within_its_scope_only() {
        assert_eq!(Language::spoken(), Language::English);
        assert_eq!(Language::German.scope(async { Language::spoken() }).await, Language::German);
        assert_eq!(Language::spoken(), Language::English);
    }

    #[test]
    fn browsers_are_answered_in_the_first_language_that_is_spoken_here() {
        for (line, language) in [
            ("de-AT,de;q=0.9,en;q=0.8", Language::German),
            ("fr, EN-gb;q=0.8, de;q=0.5", Language::English),
            ("", Language::English),
            ("*", Language::English),
        ] {
            assert_eq!(Language::accepted(line), language, "{line}");
        }
    }

    proptest! {
        #[test]
        fn text_without_gaps_stays_itself(text in ".*") {
            prop_assert_eq!(t(&text), &text);
            prop_assert_eq!(tf(&text).to_string(), text);
        }

        #[test]
        fn nothing_escapes_from_a_gap(value in ".*") {
            let html = tm("<p>{x}</p>").with("x", &value).to_string();
            prop_assert_eq!(html.matches(['<', '>']).count(), 4);
        }
    }
}
