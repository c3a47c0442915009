//! A guest books, as she would on the pages.

use std::collections::{BTreeMap, BTreeSet};

use time::{Date, Duration, OffsetDateTime};

use super::DemoRefused;
use super::data::{Booking, Guest, Turn};
use super::opening::{day, moment, of, refused};
use super::story::{Event, Plan, Story};
use crate::actions::book::{self, Booked, Complete, Person};
use crate::actions::booking::{self, Beginner, Choice, Terms, Wanted};
use crate::actions::case::{Drafted, Known};
use crate::actions::diary::{Between, Diary};
use crate::actions::own_visits::{self, Change};
use crate::actions::treating;
use crate::domain::catalogue::{Area, Chemistry};
use crate::domain::consent::{Guardian, Offer, Signed, Subject, Tick, TypedName};
use crate::domain::ids::{ClientId, VisitId};
use crate::domain::person::{BirthDate, Mail, PersonName, Phone};
use crate::domain::questionnaire::{Answer, AnswerSet, Answers, Kind, Question};
use crate::domain::schedule::{Occupation, free_times};
use crate::store::catalogue::Service;
use crate::store::types::sha256_hex;
use crate::store::visits::{Purpose, Visit};
use crate::store::{drafts, health, treatments, visits};

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
    pub(super) async fn book(&mut self, number: usize, plan: &Plan) -> Result<(), DemoRefused> {
        let (script, wish) = (self.script, &plan.booking);
        let she = script.guest(plan.guest)?;
        let service = of(&self.opened.services, &wish.service)?.clone();
        let known = self.clients.get(&plan.guest).cloned();
        let born = she.born(self.today)?;
        let answers = self.answers(she, known.as_ref(), &service).await?;
        let drafted = Drafted { birth: Some(born), answers: Some(answers.clone()), ..Drafted::default() };
        let now = self.app.clock.now();
        let mut case =
            Known::load(&mut *self.app.db.read().await?, &self.opened.studio, known.as_ref(), &service.id).await?;
        let between = case.between(now);
        let needs_test = !case.products.is_empty() && case.needs_test(now, now);
        case.add(drafted);
        let healthy = between.earliest.max(case.earliest(now));
        let days = Between { earliest: healthy, ..between.clone() };
        let Some(wanted) = self.choose(&service, wish, days, needs_test).await? else {
            let why = format!("no time for {} on day {}", wish.service, wish.day);
            return if wish.needed { Err(refused(&she.name, why)) } else { Ok(()) };
        };
        let test_booked_at = wanted.test.as_ref().map(|test| test.starts_at);
        case.add(Drafted { test_booked_at, ..Drafted::default() });
        let readiness = case.readiness(wanted.treatment.starts_at, now);
        if readiness.against_booking().next().is_some() {
            return if wish.needed { Err(refused(&she.name, "a rule says no")) } else { Ok(()) };
        }
        let (app, studio) = (self.app, &self.opened.studio);
        let terms = Terms { studio, service: &service, between, from: "" };
        let owner_hash = sha256_hex(&app.random.token());
        let beginner = Beginner { owner_hash: &owner_hash, client: known.as_ref() };
        let begun = booking::begin(app, &terms, beginner, &wanted).await?;
        let draft = begun.map_err(|_| refused(&she.name, "her time was not free"))?;
        app.clock.advance(Duration::minutes(7));
        let filled =
            drafts::get(&mut *app.db.read().await?, &draft, drafts::By::Browser(&owner_hash, known.as_ref())).await?;
        let complete = Complete {
            person: match &known {
                Some(id) => Person::Known(id.clone()),
                None => self.person(she, born)?,
            },
            signed: Some(self.sign(she, &service, &answers.0).await?),
            answers: answers.0,
            text_version: self.in_force.consent.version(),
        };
        let filled = filled.ok_or_else(|| refused(&she.name, "no draft"))?;
        if book::book(app, studio, &filled, complete).await? != Booked::Done {
            return Err(refused(&she.name, "her time was taken"));
        }
        let booked = visits::of_draft(&mut *app.db.read().await?, &draft).await?;
        if let Some(client) = booked.first().and_then(|visit| visit.client.clone()) {
            self.clients.insert(plan.guest, client);
        }
        self.foresee(number, plan, booked);
        Ok(())
    }

    /// What follows from a booking.
    fn foresee(&mut self, number: usize, plan: &Plan, booked: Vec<Visit>) {
        let Some(treatment) = booked.iter().find(|visit| visit.purpose == Purpose::Treatment) else { return };
        for test in booked.iter().filter(|visit| visit.purpose == Purpose::SkinTest) {
            let event = Event::Test { test: test.id.clone(), treatment: treatment.id.clone() };
            self.at(test.starts_at + Duration::minutes(2), number, event);
        }
        let early = match plan.booking.turn {
            Some(Turn::Cancels | Turn::Moves) => Some(Duration::hours(70)),
            Some(Turn::Cancelled) => Some(Duration::hours(26)),
            _ => None,
        };
        if let Some(early) = early {
            self.at(treatment.starts_at - early, number, Event::Change(treatment.id.clone()));
        }
        self.expect(number, treatment);
    }

    /// She will come then.
    fn expect(&mut self, number: usize, visit: &Visit) {
        self.at(visit.starts_at - Duration::minutes(4), number, Event::Come(visit.id.clone()));
    }

    /// She cancels or takes another time, or the studio cancels.
    pub(super) async fn change(&mut self, number: usize, plan: &Plan, id: &VisitId) -> Result<(), DemoRefused> {
        let visit = self.visit(id).await?;
        let client = visit.client.as_ref().ok_or_else(|| refused(id, "nobody's"))?;
        let (app, studio) = (self.app, &self.opened.studio);
        let change = match plan.booking.turn {
            Some(Turn::Cancels) => own_visits::cancel(app, studio, client, id).await?,
            Some(Turn::Moves) => {
                let service = of(&self.opened.services, &plan.booking.service)?.clone();
                let diary =
                    Diary::load(&mut *app.db.read().await?, studio, &service, app.clock.now(), Some(id)).await?;
                let on = visit.civil.date();
                let later =
                    Between { earliest: Some(day(on, 1)), latest: Some(day(on, PATIENCE)), ..Between::default() };
                let times = choices(&diary, diary.service, &later);
                let hers: Vec<_> = times.iter().filter(|time| time.practitioner == visit.practitioner).collect();
                let to = self.pick(&hers).ok_or_else(|| refused(id, "no other time"))?;
                own_visits::relocate(app, studio, &service, client, id, to).await?
            }
            _ => {
                let member = self.opened.treats_as(&visit.practitioner)?;
                return Ok(treating::cancel(app, member, id, &treating::mark(&visit)).await?);
            }
        };
        if change != Change::Done {
            return Err(refused(id, format!("{change:?}")));
        }
        let visit = self.visit(id).await?;
        self.expect(number, &visit);
        Ok(())
    }

    pub(super) async fn visit(&self, id: &VisitId) -> Result<Visit, DemoRefused> {
        visits::get(&mut *self.app.db.read().await?, id).await?.ok_or_else(|| refused(id, "no visit"))
    }

    fn person(&self, she: &Guest, born: BirthDate) -> Result<Person, DemoRefused> {
        Ok(Person::Given {
            name: PersonName::parse(&she.name).map_err(|why| refused(&she.name, why))?,
            mail: Mail::parse(&she.mail()).map_err(|why| refused(&she.name, why))?,
            phone: Phone::parse(&she.phone, &self.opened.studio.home_dial).map_err(|why| refused(&she.name, why))?,
            born,
        })
    }

    /// The first day with free times that suit her, and one of them by the dice.
    async fn choose(
        &self,
        service: &Service,
        wish: &Booking,
        healthy: Between,
        needs_test: bool,
    ) -> Result<Option<Wanted>, DemoRefused> {
        let (app, studio) = (self.app, &self.opened.studio);
        let diary = Diary::load(&mut *app.db.read().await?, studio, service, app.clock.now(), None).await?;
        let wished = day(self.today, wish.day);
        let first = healthy.earliest.map_or(wished, |healthy| healthy.max(wished));
        let last = day(first, if wish.at.is_some() { 0 } else { PATIENCE });
        let with = wish.with.as_ref().map(|key| of(&self.opened.team, key)).transpose()?;
        let with = with.and_then(|member| member.practitioner.as_ref());
        let at = self.moment(wish.at.as_deref(), wish.day)?;
        let mut treatments =
            choices(&diary, diary.service, &Between { earliest: Some(first), latest: Some(last), ..healthy });
        treatments.retain(|time| with.is_none_or(|with| *with == time.practitioner));
        treatments.retain(|time| at.map_or(self.on(time) != self.today, |at| at == time.starts_at));
        if !needs_test {
            let days = treatments.chunk_by(|a, b| self.on(a) == self.on(b));
            let treatment = days.into_iter().next().and_then(|times| self.pick(times)).cloned();
            return Ok(treatment.map(|treatment| Wanted { test: None, treatment }));
        }
        let tested = wish.test.map(|test| day(self.today, test));
        let test_at = self.moment(wish.test_at.as_deref(), wish.test.unwrap_or(0))?;
        let mut tests = choices(
            &diary,
            diary.test,
            &Between { earliest: tested, latest: Some(tested.unwrap_or(last)), ..Between::default() },
        );
        tests.retain(|time| test_at.map_or(self.on(time) != self.today, |at| at == time.starts_at));
        for treatment in treatments {
            let floor =
                Duration::hours(i64::from(diary.pair.floor_hours)) + Duration::minutes(studio.skin_test_minutes);
            let earliest = treatment.starts_at - Duration::days(9);
            let fits = |test: &&Choice| {
                test.starts_at + floor <= treatment.starts_at && (tested.is_some() || test.starts_at >= earliest)
            };
            let fitting: Vec<Choice> = tests.iter().filter(fits).cloned().collect();
            if let Some(test) = self.pick(&fitting).cloned() {
                return Ok(Some(Wanted { test: Some(test), treatment }));
            }
        }
        Ok(None)
    }

    fn on(&self, time: &Choice) -> Date {
        self.opened.studio.zone.date_at(time.starts_at)
    }

    fn moment(&self, clock: Option<&str>, days: i64) -> Result<Option<OffsetDateTime>, DemoRefused> {
        clock.map(|clock| moment(&self.opened.studio.zone, day(self.today, days), clock)).transpose()
    }

    async fn sign(&self, she: &Guest, service: &Service, answers: &AnswerSet) -> Result<Signed, DemoRefused> {
        let name = |text: &str| TypedName::parse(text).map_err(|why| refused(text, why));
        let subject = Subject {
            text: self.in_force.consent.fingerprint(),
            answers: answers.answers.fingerprint(),
            products: book::products_of(&mut *self.app.db.read().await?, service).await?,
            service: Some(service.id.clone()),
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

    /// Her answers to everything that is asked for a service: a no, but for what the data and her past say.
    async fn answers(
        &self,
        she: &Guest,
        client: Option<&ClientId>,
        service: &Service,
    ) -> Result<(AnswerSet, OffsetDateTime), DemoRefused> {
        let now = self.app.clock.now();
        let today = self.opened.studio.zone.date_at(now);
        let (mut past, mut returning) = (Vec::new(), false);
        if let Some(client) = client {
            let mut c = self.app.db.read().await?;
            past = treatments::past(&mut c, Some(client)).await?;
            returning = !health::answers(&mut c, client).await?.is_empty();
        }
        let last = |area: Area, family: Chemistry| {
            let with = past.iter().filter(|one| one.kind.area() == area && one.kind.chemistries().contains(&family));
            with.map(|one| one.on).max()
        };
        let before = BTreeMap::from([
            ("last_lash_lift", last(Area::Lash, Chemistry::Lotion)),
            ("last_brow_lamination", last(Area::Brow, Chemistry::Lotion)),
            ("last_lash_tint", last(Area::Lash, Chemistry::Tint)),
            ("last_brow_tint", last(Area::Brow, Chemistry::Tint)),
        ]);
        let questions = &self.in_force.questionnaire;
        let sections = self.in_force.rules.sections_for(questions, &[service.kind], returning);
        let mut answers = Answers::default();
        for question in sections.iter().flat_map(|section| &section.questions) {
            if !questions.is_open(question, &answers) {
                continue;
            }
            let key = question.key.trim_end_matches("_on");
            let answer = match (before.get(key).copied().flatten(), question.kind) {
                (Some(_), Kind::YesNo) => Some(Answer::Yes),
                (Some(day), Kind::Date) => Some(Answer::Date(day)),
                _ => answer(she, question, today)?,
            };
            if let Some(answer) = answer {
                answers.set(question.key.clone(), answer);
            }
        }
        Ok((AnswerSet { questionnaire: questions.version(), given_on: today, returning, answers }, now))
    }
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

fn choices(diary: &Diary, length: Occupation, between: &Between) -> Vec<Choice> {
    diary.search(length, between, |search| {
        let times = free_times(search);
        let each = times.iter().flat_map(|time| {
            let starts_at = time.starts_at();
            time.practitioners().map(move |who| Choice { starts_at, practitioner: who.clone() })
        });
        each.collect()
    })
}
