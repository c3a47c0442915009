//! What several pages of the desk show: a verdict with its reasons, answers, consents, skin tests.

use std::collections::BTreeMap;

use time::OffsetDateTime;

use super::words;
use crate::actions::case::test_rules;
use crate::domain::consent::{ConsentRecord, Signed};
use crate::domain::ids::{PractitionerId, ProductId, ServiceId};
use crate::domain::questionnaire::{Answer, AnswerSet, Question, Questionnaire, Taken};
use crate::domain::readiness::Readiness;
use crate::domain::skin_test::{Reading, TestResult, TestRules, VoidCause};
use crate::domain::verdict::{About, Clears, Start, Verdict};
use crate::domain::zone::Zone;
use crate::language::{Markup, quoted};
use crate::store::catalogue::{Product, Service};
use crate::store::health::{StoredAnswers, StoredConsent};
use crate::store::practitioners::Practitioner;
use crate::store::skin_tests::StoredTest;
use crate::store::studio::Studio;
use crate::store::visits::{Purpose, Visit};
use crate::store::{Connection, Stored, catalogue, health, practitioners, rules};
use crate::when;
use crate::{t, tc, tf, tn};

/// The names that ids stand for, and how the studio's clock reads.
pub(super) struct Names {
    pub(super) products: Vec<Product>,
    pub(super) services: Vec<Service>,
    pub(super) practitioners: Vec<Practitioner>,
    pub(super) zone: Zone,
    rules: TestRules,
    /// The words of every question that was ever asked.
    asked: BTreeMap<String, String>,
}

impl Names {
    pub(super) async fn load(c: &mut Connection, studio: &Studio) -> Stored<Self> {
        Ok(Self {
            products: catalogue::products(c).await?,
            services: catalogue::services(c).await?,
            practitioners: practitioners::all(c).await?,
            zone: studio.zone.clone(),
            rules: test_rules(studio)?,
            asked: rules::asked(c).await?,
        })
    }

    pub(super) fn product(&self, id: &ProductId) -> &str {
        self.products.iter().find(|one| one.id == *id).map_or(t("a product"), |one| &one.name)
    }

    pub(super) fn service(&self, id: &ServiceId) -> &str {
        self.services.iter().find(|one| one.id == *id).map_or(t("a service"), |one| &one.name)
    }

    pub(super) fn practitioner(&self, id: &PractitionerId) -> &str {
        self.practitioners.iter().find(|one| one.id == *id).map_or(t("somebody"), |one| &one.name)
    }

    /// What a visit is: its service, or the skin test for it.
    pub(super) fn visit(&self, visit: &Visit) -> String {
        let service = self.service(&visit.service);
        match visit.purpose {
            Purpose::Treatment => service.to_owned(),
            Purpose::SkinTest => words::skin_test_for(service),
        }
    }

    /// `Tuesday 3 March 2026, 14:30` on the studio's clock.
    pub(super) fn moment(&self, at: OffsetDateTime) -> String {
        when::moment(self.zone.to_civil(at))
    }

    /// `14:30` on the studio's clock.
    pub(super) fn clock(&self, at: OffsetDateTime) -> String {
        when::clock(self.zone.to_civil(at))
    }

    /// `14:30:05` on the studio's clock.
    pub(super) fn second(&self, at: OffsetDateTime) -> String {
        format!("{}:{:02}", self.clock(at), at.second())
    }
}

/// One reason of a verdict.
pub(super) struct Line {
    pub(super) kind: &'static str,
    pub(super) label: &'static str,
    pub(super) start: Start,
    pub(super) about: About,
    /// The product's name, or the question's words.
    pub(super) subject: String,
    pub(super) say: String,
    pub(super) clears: Vec<Clears>,
    pub(super) from: Option<String>,
    pub(super) basis: String,
    /// The rule that fired, and the version of the table that held it.
    pub(super) rule: String,
    /// Further answers to read with it.
    pub(super) details: Vec<(String, String)>,
}

/// A verdict with all its reasons.
pub(super) struct Said {
    pub(super) kind: &'static str,
    pub(super) words: String,
    pub(super) start: Start,
    /// Whether there are notes that have to be read on the day.
    pub(super) notes: bool,
    pub(super) lines: Vec<Line>,
}

impl Said {
    pub(super) fn of(
        readiness: &Readiness,
        names: &Names,
        questions: &Questionnaire,
        answers: Option<&AnswerSet>,
    ) -> Self {
        let (kind, words) = words::verdict(readiness);
        let question = |key: &str| {
            let now = questions.question(key).map(|question| &question.text);
            now.or_else(|| names.asked.get(key)).map_or(key, String::as_str).to_owned()
        };
        let lines = readiness.reasons.iter().map(|reason| Line {
            kind: words::shape(reason.verdict),
            label: words::label(reason.verdict),
            start: reason.start,
            about: reason.about.clone(),
            subject: match &reason.about {
                About::SkinTest(product) | About::Product(product) | About::Reaction(Some(product)) => {
                    names.product(product).to_owned()
                }
                About::Question(key) => question(key),
                About::Age | About::Answers | About::Consent | About::Window | About::Reaction(None) => String::new(),
            },
            say: reason.say.clone(),
            clears: reason.clears.clone(),
            from: reason.from.map(words::earliest),
            basis: reason.basis.to_string(),
            rule: tf("{rule}, version {version}")
                .with("rule", &reason.rule)
                .with("version", reason.version)
                .to_string(),
            details: reason
                .details
                .iter()
                .filter_map(|key| {
                    let given = answers?.answers.get(key)?;
                    Some((question(key), answer(questions, key, given)))
                })
                .collect(),
        });
        Self {
            kind,
            words,
            start: readiness.may_start(),
            notes: readiness.reasons.iter().any(|reason| reason.verdict == Verdict::Note),
            lines: lines.collect(),
        }
    }
}

/// What a verdict rests on, in a few words for a list: no answer is named there, since others may look over a shoulder.
pub(super) fn topics(readiness: &Readiness, names: &Names) -> Vec<String> {
    let mut counts: BTreeMap<(u8, String), usize> = BTreeMap::new();
    for reason in &readiness.reasons {
        let topic = match &reason.about {
            About::Age => (0, t("Age").to_owned()),
            About::SkinTest(product) => {
                (1, tf("Skin test of {product}").with("product", names.product(product)).to_string())
            }
            About::Product(product) => {
                (1, tf("Label of {product}").with("product", names.product(product)).to_string())
            }
            About::Reaction(Some(product)) => {
                (1, tf("Reaction to {product}").with("product", names.product(product)).to_string())
            }
            About::Reaction(None) => (1, t("Open reaction").to_owned()),
            About::Consent => (2, t("Consent").to_owned()),
            About::Window => (3, t("Retouch window").to_owned()),
            About::Answers => (4, t("Health questions").to_owned()),
            About::Question(_) => (5, String::new()),
        };
        *counts.entry(topic).or_default() += 1;
    }
    let words = |((rank, topic), count): ((u8, String), usize)| match (rank, count) {
        (5, n) => tn("{n} health answer", "{n} health answers", n).to_string(),
        _ => topic,
    };
    counts.into_iter().map(words).collect()
}

/// An answer in words.
fn answer(questions: &Questionnaire, key: &str, given: &Answer) -> String {
    match given {
        Answer::Yes => t("Yes").to_owned(),
        Answer::No => t("No").to_owned(),
        Answer::PreferToTalk => t("Would rather talk about it").to_owned(),
        Answer::Date(day) => when::day(*day),
        Answer::Text(text) => text.clone(),
        Answer::Choice(option) => questions
            .question(key)
            .and_then(|question| question.options.iter().find(|one| one.key == *option))
            .map_or_else(|| option.clone(), |one| one.label.clone()),
    }
}

/// A set of answers, in the questions that were asked.
pub(super) struct AnswersView {
    pub(super) given: String,
    pub(super) by: String,
    /// Question and answer: everything but a plain no.
    pub(super) told: Vec<(Markup<'static>, String)>,
    /// The questions answered with a plain no.
    pub(super) no: Vec<Markup<'static>>,
    /// How many sensitive answers are held back from this reader.
    pub(super) hidden: usize,
}

impl AnswersView {
    /// In the version that was answered; sensitive ones only where `sensitive`.
    pub(super) async fn of(c: &mut Connection, given: &StoredAnswers, names: &Names, sensitive: bool) -> Stored<Self> {
        let questions = health::questionnaire(c, given.set.questionnaire).await?;
        let mut view = Self {
            given: names.moment(given.given_at),
            by: given.taken.as_ref().map_or_else(|| tc("by whom", "the client").to_owned(), Taken::in_words),
            told: Vec::new(),
            no: Vec::new(),
            hidden: 0,
        };
        let asked = |question: &Question| quoted(&question.text, questions.language());
        for question in questions.questions() {
            match given.set.answers.get(&question.key) {
                None => {}
                Some(_) if question.sensitive && !sensitive => view.hidden += 1,
                Some(Answer::No) => view.no.push(asked(question)),
                Some(told) => view.told.push((asked(question), answer(&questions, &question.key, told))),
            }
        }
        Ok(view)
    }
}

/// A consent in a list.
pub(super) struct ConsentView {
    pub(super) id: String,
    pub(super) when: String,
    pub(super) words: String,
    pub(super) signed: bool,
}

impl ConsentView {
    pub(super) fn of(consent: &StoredConsent, names: &Names) -> Self {
        let words = match &consent.record {
            ConsentRecord::Refused { .. } => t("Refused").to_owned(),
            ConsentRecord::Signed(signed) => signature(signed, names),
        };
        Self {
            id: consent.id.to_string(),
            when: names.moment(consent.given_at),
            words,
            signed: matches!(consent.record, ConsentRecord::Signed(_)),
        }
    }
}

fn signature(signed: &Signed, names: &Names) -> String {
    let said = match (&signed.guardian, signed.withdrawn_at) {
        (None, None) => tf("Signed by {name}"),
        (Some(_), None) => tf("Signed by {name}, with {guardian} ({relation})"),
        (None, Some(_)) => tf("Signed by {name}; withdrawn {when}"),
        (Some(_), Some(_)) => tf("Signed by {name}, with {guardian} ({relation}); withdrawn {when}"),
    };
    let said = said.with("name", signed.name.as_str());
    let said = match &signed.guardian {
        Some(g) => said.with("guardian", g.name.as_str()).with("relation", g.relation.as_str()),
        None => said,
    };
    signed.withdrawn_at.map_or(said.clone(), |at| said.with("when", names.moment(at))).to_string()
}

/// A skin test.
pub(super) struct TestView {
    pub(super) id: String,
    pub(super) product: String,
    pub(super) batch: String,
    pub(super) site: String,
    pub(super) applied: String,
    pub(super) by: String,
    /// From when a clear result counts.
    pub(super) from: String,
    pub(super) too_early: bool,
    /// Until when a first clear look says something, once that has passed without one.
    pub(super) too_late: Option<String>,
    pub(super) reliable: bool,
    pub(super) fails: bool,
    /// Whether what was seen is no clear result: to void it wants a reason.
    pub(super) wants_why: bool,
    pub(super) voided: bool,
    /// Why somebody let it no longer count though it failed, and by whom and when.
    pub(super) voiding: Option<(String, String)>,
    /// The day, when it was made elsewhere.
    pub(super) elsewhere: Option<String>,
    /// When, result, note, reader.
    pub(super) readings: Vec<(String, String, String, String)>,
}

impl TestView {
    pub(super) fn of(stored: &StoredTest, names: &Names, now: OffsetDateTime) -> Self {
        let test = &stored.test;
        let label = names.products.iter().find(|one| one.id == test.product).and_then(|one| one.label_test_hours);
        let floor = names.rules.floor(label);
        let (from, last) = (test.applied_at + floor, test.clear_until(floor));
        let in_time =
            |reading: &Reading| reading.result == TestResult::NoVisibleChange && (from..=last).contains(&reading.at);
        let passed = test.readings.iter().any(in_time);
        let readings = test.readings.iter().zip(&stored.notes);
        Self {
            id: test.id.to_string(),
            product: names.product(&test.product).to_owned(),
            batch: stored.batch.clone(),
            site: stored.site.clone(),
            applied: names.moment(test.applied_at),
            by: stored.practitioner.as_ref().map_or_else(String::new, |id| names.practitioner(id).to_owned()),
            from: names.moment(from),
            too_early: now < from,
            too_late: (now > last && !passed).then(|| names.moment(last)),
            reliable: test.reliable,
            fails: test.failed(),
            wants_why: test.failed() || test.unclear(),
            voided: test.voided.is_some(),
            voiding: stored.voiding.as_ref().map(|one| (one.why.clone(), words::noted(names.moment(one.at), &one.by))),
            elsewhere: (test.voided == Some(VoidCause::TakenOver))
                .then(|| when::day(names.zone.date_at(test.applied_at))),
            readings: readings
                .map(|(reading, (note, by))| {
                    (names.moment(reading.at), capital(reading.result), note.clone(), by.clone())
                })
                .collect(),
        }
    }
}

/// A result as the first word of a line.
pub(super) fn capital(result: TestResult) -> String {
    let words = result.to_string();
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
