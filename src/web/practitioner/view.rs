//! What several pages of the desk show: a verdict with its reasons, answers, consents, skin tests, records.

use std::collections::BTreeMap;

use time::OffsetDateTime;

use super::words;
use crate::actions::case::test_rules;
use crate::domain::catalogue::Area;
use crate::domain::consent::{ConsentRecord, Signed};
use crate::domain::ids::{PractitionerId, ProductId, ServiceId};
use crate::domain::questionnaire::{Answer, AnswerSet, Questionnaire};
use crate::domain::readiness::Readiness;
use crate::domain::skin_test::{TestResult, TestRules, VoidCause};
use crate::domain::timing::SideTime;
use crate::domain::verdict::{About, Clears, Start, Verdict};
use crate::domain::zone::Zone;
use crate::store::catalogue::{Product, Service};
use crate::store::health::{StoredAnswers, StoredConsent};
use crate::store::practitioners::Practitioner;
use crate::store::skin_tests::StoredTest;
use crate::store::studio::Studio;
use crate::store::treatments::{Treatment, Version};
use crate::store::{Connection, Stored, catalogue, health, practitioners, rules};
use crate::when;

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
        self.products.iter().find(|one| one.id == *id).map_or("a product", |one| &one.name)
    }

    pub(super) fn service(&self, id: &ServiceId) -> &str {
        self.services.iter().find(|one| one.id == *id).map_or("a service", |one| &one.name)
    }

    pub(super) fn practitioner(&self, id: &PractitionerId) -> &str {
        self.practitioners.iter().find(|one| one.id == *id).map_or("somebody", |one| &one.name)
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
            now.or_else(|| names.asked.get(key)).map_or_else(|| key.to_owned(), Clone::clone)
        };
        let lines = readiness.reasons.iter().map(|reason| Line {
            kind: words::shape(reason.verdict),
            label: words::label(reason.verdict),
            start: reason.start,
            about: reason.about.clone(),
            subject: match &reason.about {
                About::SkinTest(product) | About::Product(product) => names.product(product).to_owned(),
                About::Question(key) => question(key),
                About::Age | About::Answers | About::Consent | About::Window => String::new(),
            },
            say: reason.say.clone(),
            clears: reason.clears.clone(),
            from: reason.from.map(words::earliest),
            basis: reason.basis.to_string(),
            rule: format!("{}, version {}", reason.rule, reason.version),
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
            About::Age => (0, "Age".to_owned()),
            About::SkinTest(product) => (1, format!("Skin test of {}", names.product(product))),
            About::Product(product) => (1, format!("Label of {}", names.product(product))),
            About::Consent => (2, "Consent".to_owned()),
            About::Window => (3, "Retouch window".to_owned()),
            About::Answers => (4, "Health questions".to_owned()),
            About::Question(_) => (5, "health answer".to_owned()),
        };
        *counts.entry(topic).or_default() += 1;
    }
    let words = |((rank, topic), count): ((u8, String), usize)| match (rank, count) {
        (5, 1) => "1 health answer".to_owned(),
        (5, n) => format!("{n} health answers"),
        _ => topic,
    };
    counts.into_iter().map(words).collect()
}

/// An answer in words.
fn answer(questions: &Questionnaire, key: &str, given: &Answer) -> String {
    match given {
        Answer::Yes => "Yes".to_owned(),
        Answer::No => "No".to_owned(),
        Answer::PreferToTalk => "Would rather talk about it".to_owned(),
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
    pub(super) by: &'static str,
    /// Question and answer: everything but a plain no.
    pub(super) told: Vec<(String, String)>,
    /// The questions answered with a plain no.
    pub(super) no: Vec<String>,
    /// How many sensitive answers are held back from this reader.
    pub(super) hidden: usize,
}

impl AnswersView {
    /// In the version that was answered; sensitive ones only where `sensitive`.
    pub(super) async fn of(c: &mut Connection, given: &StoredAnswers, names: &Names, sensitive: bool) -> Stored<Self> {
        let questions = health::questionnaire(c, given.set.questionnaire).await?;
        let mut view = Self {
            given: names.moment(given.given_at),
            by: if given.given_by == "client" { "the client" } else { "the practitioner" },
            told: Vec::new(),
            no: Vec::new(),
            hidden: 0,
        };
        for question in questions.questions() {
            match given.set.answers.get(&question.key) {
                None => {}
                Some(_) if question.sensitive && !sensitive => view.hidden += 1,
                Some(Answer::No) => view.no.push(question.text.clone()),
                Some(told) => view.told.push((question.text.clone(), answer(&questions, &question.key, told))),
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
            ConsentRecord::Refused { .. } => "Refused".to_owned(),
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
    let guardian = signed.guardian.as_ref();
    let guardian = guardian.map(|g| format!(", with {} ({})", g.name.as_str(), g.relation.as_str()));
    let withdrawn = signed.withdrawn_at.map(|at| format!("; withdrawn {}", names.moment(at)));
    format!("Signed by {}{}{}", signed.name.as_str(), guardian.unwrap_or_default(), withdrawn.unwrap_or_default())
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
    pub(super) reliable: bool,
    pub(super) fails: bool,
    pub(super) voided: bool,
    /// The day, when it was made elsewhere.
    pub(super) elsewhere: Option<String>,
    /// When, result, note, reader.
    pub(super) readings: Vec<(String, String, String, String)>,
}

impl TestView {
    pub(super) fn of(stored: &StoredTest, names: &Names, now: OffsetDateTime) -> Self {
        let test = &stored.test;
        let label = names.products.iter().find(|one| one.id == test.product).and_then(|one| one.label_test_hours);
        let from = test.applied_at + names.rules.floor(label);
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
            reliable: test.reliable,
            fails: test.readings.iter().any(|reading| reading.result.fails()),
            voided: test.voided.is_some(),
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

/// One version of a record.
pub(super) struct VersionView {
    pub(super) number: u32,
    pub(super) facts: Vec<(&'static str, String)>,
    pub(super) reason: String,
    pub(super) written: String,
    /// Written after the day of the treatment had ended.
    pub(super) late: bool,
    /// Each step on each side: what, from when to when, and what went beyond its time.
    pub(super) times: Vec<(String, String, String)>,
    pub(super) reaction: bool,
}

/// A record with all its versions, the newest first.
pub(super) struct RecordView {
    pub(super) id: String,
    pub(super) visit: String,
    pub(super) title: String,
    pub(super) versions: Vec<VersionView>,
}

impl RecordView {
    pub(super) fn of(treatment: &Treatment, names: &Names) -> Self {
        let title = treatment.current().map_or_else(String::new, |version| {
            format!("{}, {}", names.service(&version.service), when::day(names.zone.date_at(version.started_at)))
        });
        Self {
            id: treatment.id.to_string(),
            visit: treatment.visit.to_string(),
            title,
            versions: treatment.versions.iter().map(|version| VersionView::of(version, names)).collect(),
        }
    }
}

impl VersionView {
    fn of(version: &Version, names: &Names) -> Self {
        let service = names.services.iter().find(|service| service.id == version.service);
        let area = service.map_or(Area::Lash, |service| service.kind.area());
        let minutes = |minutes: Option<u16>| minutes.map(when::length);
        let products = version.products.iter();
        let products: Vec<String> =
            products.map(|(id, batch)| format!("{}, batch {batch}", names.product(id))).collect();
        let facts = [
            ("Service", Some(names.service(&version.service).to_owned())),
            ("By", Some(names.practitioner(&version.practitioner).to_owned())),
            ("From", Some(names.clock(version.started_at))),
            ("Until", Some(names.clock(version.ended_at))),
            ("Shield", Some(version.shield.clone()).filter(|shield| !shield.is_empty())),
            ("First lotion", minutes(version.lotion_one_minutes)),
            ("Second lotion", minutes(version.lotion_two_minutes)),
            ("Tint", minutes(version.tint_minutes)),
            ("Products", Some(products.join("; ")).filter(|products| !products.is_empty())),
            ("Still lifted", version.count.map(|(counted, lifted)| format!("{lifted} of {counted} counted"))),
            ("Eyes rinsed", version.rinsed.map(|rinsed| if rinsed { "Yes" } else { "Not noted" }.to_owned())),
            ("Aftercare", Some(if version.aftercare_given { "Given" } else { "Not given" }.to_owned())),
            ("Outcome", Some(words::outcome(version.outcome).to_owned())),
            ("Notes", Some(version.notes.clone()).filter(|notes| !notes.is_empty())),
        ];
        Self {
            number: version.version,
            facts: facts.into_iter().filter_map(|(name, value)| Some((name, value?))).collect(),
            reason: version.reason.clone(),
            written: format!("{} by {}", names.moment(version.written_at), version.written_by),
            late: names.zone.date_at(version.written_at) > names.zone.date_at(version.started_at),
            times: version.times.iter().map(|time| worn(time, area, names)).collect(),
            reaction: version.outcome == crate::store::treatments::Outcome::Reaction,
        }
    }
}

/// What was where, from when to when, and what went beyond its time.
fn worn(time: &SideTime, area: Area, names: &Names) -> (String, String, String) {
    let what = format!("{}, {}", time.step, words::side(time.side, area).to_lowercase());
    let up = time.up.map(|up| format!(", time up {}", names.second(up))).unwrap_or_default();
    let from_to = format!("{} to {}{up}", names.second(time.on), names.second(time.off));
    let late = time.late().map(|late| format!("{} after its time was up", when::stretch(late)));
    let over = time.over().map(|over| format!("{} over the label’s longest time", when::stretch(over)));
    let beyond: Vec<String> = late.into_iter().chain(over).collect();
    (what, format!("{from_to}: {}", when::stretch(time.length())), beyond.join(", "))
}
