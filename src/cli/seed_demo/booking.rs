//! A guest books, as she would on the pages.

use std::collections::BTreeSet;

use time::{Date, Duration, OffsetDateTime};

use super::DemoRefused;
use super::data::{Booking, Guest};
use super::opening::{day, moment, of, refused};
use super::story::Story;
use crate::actions::book::{self, Booked, Complete, Person};
use crate::actions::booking::{self, Beginner, Choice, Terms, Wanted};
use crate::actions::case::{Drafted, Known};
use crate::actions::diary::{Between, Diary};
use crate::domain::consent::{Guardian, Offer, Signed, Subject, Tick, TypedName};
use crate::domain::person::{BirthDate, HomeDial, Mail, PersonName, Phone};
use crate::domain::questionnaire::{Answer, AnswerSet, Answers, Kind, Question};
use crate::domain::readiness::Readiness;
use crate::domain::schedule::free_times;
use crate::domain::verdict::{About, Verdict};
use crate::store::catalogue::Service;
use crate::store::types::sha256_hex;
use crate::store::visits::Visit;
use crate::store::{drafts, visits};

/// How many days after the day that she would like a guest takes.
const PATIENCE: i64 = 12;

impl Guest {
    /// Her mail, made of her name.
    pub(super) fn mail(&self) -> String {
        let plain = |c: char| if c.is_ascii_alphanumeric() { Some(c.to_ascii_lowercase()) } else { unaccented(c) };
        let words = self.name.split_whitespace().map(|word| word.chars().filter_map(plain).collect::<String>());
        format!("{}@example.org", words.filter(|word| !word.is_empty()).collect::<Vec<_>>().join("."))
    }

    fn born(&self, today: Date) -> Result<BirthDate, DemoRefused> {
        // A few months past her birthday, by the length of her name, so that birthdays differ.
        let months = i64::try_from(self.name.len()).unwrap_or(0) * 9;
        let date = day(today, -months);
        let born =
            date.replace_year(date.year() - self.age).or_else(|_| day(date, -1).replace_year(date.year() - self.age));
        let born = born.map_err(|why| refused(&self.name, why))?;
        BirthDate::of(born, today).map_err(|why| refused(&self.name, why))
    }
}

fn unaccented(c: char) -> Option<char> {
    let plain = "áàâäãåāăąéèêëēėęíìîïīıóòôöõøőúùûüūůűýçćčđďğłľñńňřśşšșťțźżžß";
    let base = "aaaaaaaaaeeeeeeeiiiiiiooooooouuuuuuuycccddgllnnnrssssttzzzs";
    let at = plain.chars().position(|accented| c.to_lowercase().eq([accented]))?;
    base.chars().nth(at)
}

impl Story<'_> {
    /// Books what she would like, if a time for it is free and no rule says no.
    pub(super) async fn book(&mut self, guest: usize, she: &Guest, wish: &Booking) -> Result<Vec<Visit>, DemoRefused> {
        let service = of(&self.opened.services, &wish.service)?.clone();
        let known = self.clients.get(guest).cloned().flatten();
        let born = she.born(self.today)?;
        let answers = self.answers(she, &service, known.is_some())?;
        let (wanted, between) = match self.choose(known.as_ref(), &service, wish, born, &answers).await? {
            Some(chosen) => chosen,
            None => return Err(refused(&she.name, format!("no time for {} on day {}", wish.service, wish.day))),
        };
        let app = self.app;
        let studio = &self.opened.studio;
        let terms = Terms { studio, service: &service, between };
        let owner_hash = sha256_hex(&app.random.token());
        let beginner = Beginner { owner_hash: &owner_hash, client: known.as_ref() };
        let begun = booking::begin(app, terms, beginner, &wanted).await?;
        let draft = begun.ok_or_else(|| refused(&she.name, "her time was not free"))?;
        app.clock.advance(Duration::minutes(7));
        let draft_row = drafts::get(&mut *app.db.read().await?, &draft, &owner_hash).await?;
        let draft_row = draft_row.ok_or_else(|| refused(&she.name, "no draft"))?;
        let readiness = self.judge(known.as_ref(), &service, &wanted, born, &answers).await?;
        if readiness.reasons.iter().any(|reason| forbids(reason.verdict, &reason.about)) {
            return Err(refused(&she.name, "a rule says no"));
        }
        let complete = Complete {
            person: match &known {
                Some(id) => Person::Known(id.clone()),
                None => self.person(she, born)?,
            },
            signed: self.sign(she, &service, &answers).await?,
            answers,
            text_version: self.in_force.consent.version(),
            verdict: readiness.verdict.as_str(),
        };
        if book::book(app, terms, &draft_row, complete).await? != Booked::Done {
            return Err(refused(&she.name, "her time was taken"));
        }
        let booked = visits::of_draft(&mut *app.db.read().await?, &draft).await?;
        if let Some(slot) = self.clients.get_mut(guest) {
            *slot = booked.first().and_then(|visit| visit.client.clone());
        }
        Ok(booked)
    }

    fn person(&self, she: &Guest, born: BirthDate) -> Result<Person, DemoRefused> {
        let home: &HomeDial = &self.opened.studio.home_dial;
        Ok(Person::Given {
            name: PersonName::parse(&she.name).map_err(|why| refused(&she.name, why))?,
            mail: Mail::parse(&she.mail()).map_err(|why| refused(&she.name, why))?,
            phone: Phone::parse(&she.phone, home).map_err(|why| refused(&she.name, why))?,
            born,
        })
    }

    /// The first day with a free time that suits her, and on it one time by the dice.
    async fn choose(
        &self,
        client: Option<&crate::domain::ids::ClientId>,
        service: &Service,
        wish: &Booking,
        born: BirthDate,
        answers: &AnswerSet,
    ) -> Result<Option<(Wanted, Between)>, DemoRefused> {
        let (app, studio) = (self.app, &self.opened.studio);
        let now = app.clock.now();
        let mut c = app.db.read().await?;
        let mut known = Known::load(&mut c, studio, client, &service.id).await?;
        let diary = Diary::load(&mut c, studio, service, now, None).await?;
        drop(c);
        let between = Between { earliest: known.earliest(now), latest: None };
        let needs_test = !known.products.is_empty() && known.needs_test(now, now);
        known.add(Drafted { birth: Some(born), answers: Some((answers.clone(), now)), ..Drafted::default() });
        let first = day(self.today, wish.day).max(between.earliest.unwrap_or(Date::MIN));
        let with = wish.with.as_ref().map(|key| of(&self.opened.team, key)).transpose()?;
        let with = with.and_then(|member| member.practitioner.clone());
        let at = wish.at.as_ref().map(|clock| moment(&studio.zone, first, clock)).transpose()?;
        let suits = |choice: &Choice, on: Date| {
            at.is_none_or(|at| at == choice.starts_at)
                && (at.is_some() || on != self.today)
                && with.as_ref().is_none_or(|with| *with == choice.practitioner)
        };
        let span = Between { earliest: Some(first), latest: Some(first.saturating_add(Duration::days(PATIENCE))) };
        let treatments = choices(&diary, diary.service, span);
        let treatments: Vec<_> = treatments.into_iter().filter(|(choice, on)| suits(choice, *on)).collect();
        let tests = if needs_test {
            choices(&diary, diary.test, Between { latest: span.latest, ..Between::default() })
        } else {
            Vec::new()
        };
        let mut on = first;
        while on <= span.latest.unwrap_or(first) {
            let of_day: Vec<_> = treatments.iter().filter(|(_, day)| *day == on).collect();
            if let Some((treatment, _)) = self.pick(&of_day) {
                let floor = Duration::hours(i64::from(diary.pair.floor_hours)) + Duration::minutes(15);
                let fits: Vec<_> = tests
                    .iter()
                    .filter(|(test, day)| {
                        test.starts_at + floor <= treatment.starts_at
                            && *day != self.today
                            && treatment.starts_at - test.starts_at <= Duration::days(9)
                    })
                    .collect();
                let test = self.pick(&fits).map(|(test, _)| test.clone());
                if !needs_test || test.is_some() {
                    return Ok(Some((Wanted { test, treatment: treatment.clone() }, between)));
                }
            }
            on = day(on, 1);
        }
        Ok(None)
    }

    /// One of several, by the dice.
    pub(super) fn pick<'t, T>(&self, from: &[&'t T]) -> Option<&'t T> {
        let [die] = self.app.random.bytes::<1>();
        from.get(usize::from(die).checked_rem(from.len())?).copied()
    }

    async fn judge(
        &self,
        client: Option<&crate::domain::ids::ClientId>,
        service: &Service,
        wanted: &Wanted,
        born: BirthDate,
        answers: &AnswerSet,
    ) -> Result<Readiness, DemoRefused> {
        let now = self.app.clock.now();
        let mut c = self.app.db.read().await?;
        let mut known = Known::load(&mut c, &self.opened.studio, client, &service.id).await?;
        known.add(Drafted {
            birth: Some(born),
            answers: Some((answers.clone(), now)),
            consent: None,
            test_booked_at: wanted.test.as_ref().map(|test| test.starts_at),
        });
        Ok(known.readiness(wanted.treatment.starts_at, now))
    }

    async fn sign(&self, she: &Guest, service: &Service, answers: &AnswerSet) -> Result<Signed, DemoRefused> {
        let name = |text: &str| TypedName::parse(text).map_err(|why| refused(text, why));
        let subject = Subject {
            text: self.in_force.consent.fingerprint(),
            answers: answers.answers.fingerprint(),
            products: book::products_of(&mut *self.app.db.read().await?, service).await?,
        };
        let guardian = match &she.guardian {
            Some((who, relation)) => {
                Some(Guardian { name: name(who)?, relation: name(relation)?, present: true, drawing: None })
            }
            None => None,
        };
        let offer = Offer {
            id: book::consent_id(self.app),
            subject,
            ticks: BTreeSet::from([Tick::Treatment, Tick::HealthData]),
            name: name(&she.name)?,
            drawing: None,
            guardian,
        };
        Signed::sign(offer, self.app.clock.now()).map_err(|why| refused(&she.name, why))
    }

    /// Her answers to everything that is asked for a service: a no, but for what the data say.
    fn answers(&self, she: &Guest, service: &Service, returning: bool) -> Result<AnswerSet, DemoRefused> {
        let today = self.opened.studio.zone.date_at(self.app.clock.now());
        let questions = &self.in_force.questionnaire;
        let sections = self.in_force.rules.sections_for(questions, &[service.kind], returning);
        let mut answers = Answers::default();
        for question in sections.iter().flat_map(|section| &section.questions) {
            if questions.is_open(question, &answers)
                && let Some(answer) = answer(she, question, today)?
            {
                answers.set(question.key.clone(), answer);
            }
        }
        Ok(AnswerSet { questionnaire: questions.version(), given_on: today, returning, answers })
    }
}

/// What the last page of a booking does not let through.
fn forbids(verdict: Verdict, about: &About) -> bool {
    let on_the_day = matches!(about, About::Consent | About::SkinTest(_));
    verdict == Verdict::DoNotTreat || verdict == Verdict::WaitUntil && !on_the_day
}

fn answer(she: &Guest, question: &Question, today: Date) -> Result<Option<Answer>, DemoRefused> {
    let said = she.health.get(&question.key).map(String::as_str);
    Ok(Some(match (question.kind, said) {
        (Kind::YesNo, Some("yes")) => Answer::Yes,
        (Kind::YesNo, None) => Answer::No,
        (Kind::Choice, Some(option)) => Answer::Choice(option.to_owned()),
        (Kind::Text, Some(text)) => Answer::Text(text.to_owned()),
        (Kind::Date, Some(days)) => {
            Answer::Date(day(today, -days.parse::<i64>().map_err(|why| refused(&question.key, why))?))
        }
        _ if question.optional => return Ok(None),
        _ => return Err(refused(&she.name, format!("no answer to {}", question.key))),
    }))
}

fn choices(diary: &Diary, length: crate::domain::schedule::Occupation, between: Between) -> Vec<(Choice, Date)> {
    diary.search(length, between, |search| {
        let times = free_times(search);
        let each = times.iter().flat_map(|time| {
            let on = time.civil.date();
            let starts_at: OffsetDateTime = time.starts_at();
            time.practitioners().map(move |who| (Choice { starts_at, practitioner: who.clone() }, on))
        });
        each.collect()
    })
}
