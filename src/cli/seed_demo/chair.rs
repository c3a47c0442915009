//! At the studio: skin tests, treatments and their records.

use std::collections::BTreeSet;

use time::Duration;

use super::DemoRefused;
use super::data::{Guest, Lashes, Turn, Words};
use super::opening::{of, refused};
use super::story::{Event, Plan, Story};
use crate::actions::case::Known;
use crate::actions::chair as at_chair;
use crate::actions::health::{self, Applied};
use crate::actions::reactions::{self, Added, Report};
use crate::actions::treating::{self, Beginning, Correction, Record, Refused};
use crate::domain::catalogue::{Area, Chemistry, ServiceKind};
use crate::domain::growth::CycleSet;
use crate::domain::ids::{ClientId, ReactionId, SkinTestId, TreatmentId, VisitId};
use crate::domain::mark::Mark;
use crate::domain::reaction::Sign;
use crate::domain::skin_test::TestResult;
use crate::domain::verdict::Verdict;
use crate::domain::visit::VisitState;
use crate::store::reactions as reports;
use crate::store::treatments::{self, Outcome};
use crate::store::visits::Visit;

impl Story<'_> {
    /// The skin test is applied, unless she doesn't come.
    pub(super) async fn test(
        &mut self,
        number: usize,
        plan: &Plan,
        id: &VisitId,
        treatment: VisitId,
    ) -> Result<(), DemoRefused> {
        let visit = self.visit(id).await?;
        if visit.state != VisitState::Booked {
            return Ok(());
        }
        if matches!(plan.booking.turn, Some(Turn::SkipsTest | Turn::Against { .. })) {
            self.at(visit.starts_at + Duration::minutes(15), number, Event::Missed(id.clone()));
            return Ok(());
        }
        let member = self.opened.treats_as(&visit.practitioner)?;
        let planned = self.visit(&treatment).await?;
        let mut readings = Vec::new();
        for key in &self.script.offer(&plan.booking.service)?.tests {
            let applied = Applied {
                id: SkinTestId::from_random(self.app.random.id()),
                service: visit.service.clone(),
                product: of(&self.opened.products, key)?.clone(),
                batch: self.script.batch(key, self.present())?.to_owned(),
                site: self.say(&self.script.words().sites),
                at: self.app.clock.now(),
            };
            let test = health::apply_at_visit(self.app, &self.opened.studio, member, id, applied).await?;
            let hours = if plan.booking.turn == Some(Turn::TestFails) { 27 } else { self.hours(key)? };
            let seen = visit.starts_at + Duration::hours(hours) + Duration::minutes(25);
            let at_the_door = planned.starts_at - Duration::minutes(6);
            let early = planned.civil.date() == self.today || self.die(2) == 0;
            let when = if early { seen.min(at_the_door) } else { at_the_door };
            readings.push((when, Event::Read { test, treatment: treatment.clone() }));
        }
        for (when, event) in readings {
            self.at(when, number, event);
        }
        Ok(())
    }

    /// How long a test of a product runs before it can be read as clear.
    fn hours(&self, key: &str) -> Result<i64, DemoRefused> {
        Ok(self.opened.studio.skin_test_floor_hours.max(i64::from(self.script.label_hours(key))))
    }

    /// Somebody looks at the test; a reaction puts an end to the treatment that was planned.
    pub(super) async fn read(
        &mut self,
        number: usize,
        plan: &Plan,
        id: &SkinTestId,
        treatment: &VisitId,
    ) -> Result<(), DemoRefused> {
        let (app, words) = (self.app, self.script.words());
        let planned = self.visit(treatment).await?;
        let member = &self.opened.treats_as(&planned.practitioner)?.clone();
        let now = app.clock.now();
        if plan.booking.turn != Some(Turn::TestFails) {
            let note = self.say(&words.clear_test);
            health::read_test(app, member, id, TestResult::NoVisibleChange, now, &note).await?;
            return Ok(());
        }
        let note = self.say(&words.failed_test);
        let client = health::read_test(app, member, id, TestResult::ItchOrRaised, now, &note).await?;
        self.follow(number, &client).await?;
        // Today's is left for whoever looks at the demo.
        if planned.civil.date() != self.today {
            treating::cancel(app, member, treatment, &treating::mark(&planned)).await?;
        }
        Ok(())
    }

    /// She comes, unless it was agreed otherwise.
    pub(super) async fn come(&mut self, number: usize, plan: &Plan, id: VisitId) -> Result<(), DemoRefused> {
        let visit = self.visit(&id).await?;
        let moved = visit.starts_at > self.app.clock.now() + Duration::hours(1);
        if visit.state != VisitState::Booked || moved {
            return Ok(());
        }
        if plan.booking.turn == Some(Turn::NoShow) {
            self.at(visit.starts_at + Duration::minutes(20), number, Event::Missed(id));
            return Ok(());
        }
        let member = self.opened.treats_as(&visit.practitioner)?;
        treating::arrive(self.app, &self.opened.studio, member, &id).await?;
        self.at(visit.starts_at + Duration::minutes(1), number, Event::Start(id));
        Ok(())
    }

    /// She did not come.
    pub(super) async fn missed(&self, id: &VisitId) -> Result<(), DemoRefused> {
        let visit = self.visit(id).await?;
        Ok(treating::no_show(self.app, self.opened.treats_as(&visit.practitioner)?, id).await?)
    }

    /// The treatment begins, if it may.
    pub(super) async fn start(&mut self, number: usize, plan: &Plan, id: VisitId) -> Result<(), DemoRefused> {
        let visit = self.visit(&id).await?;
        let (app, studio) = (self.app, &self.opened.studio);
        let member = self.opened.treats_as(&visit.practitioner)?;
        let now = app.clock.now();
        let shown = Known::of_visit(&mut *app.db.read().await?, studio, &visit).await?.readiness(now, now).mark();
        let said = |reason: &str| {
            let (shown, reason) = (shown.clone(), reason.to_owned());
            Beginning { shown, reason, notes_read: true, looked_at: None }
        };
        let mut begun = treating::start(app, studio, member, &id, said("")).await;
        if matches!(begun, Err(Refused::WantsReason))
            && let Some(reason) = self.reason(plan, &visit).await?
        {
            begun = treating::start(app, studio, member, &id, said(&reason)).await;
        }
        match begun {
            Ok(()) => self.at(visit.ends_at - Duration::minutes(2), number, Event::Record(id)),
            Err(Refused::WantsReason | Refused::MayNotStart) => {
                treating::cancel(app, member, &id, &treating::mark(&visit)).await?;
            }
            Err(other) => return Err(other.into()),
        }
        Ok(())
    }

    /// Why she begins all the same: after a talk, or as something else than was booked.
    async fn reason(&self, plan: &Plan, visit: &Visit) -> Result<Option<String>, DemoRefused> {
        if let Some(Turn::Against { because, .. }) = &plan.booking.turn {
            return Ok(Some(because.clone()));
        }
        let now = self.app.clock.now();
        let mut c = self.app.db.read().await?;
        let known = Known::load(&mut c, &self.opened.studio, visit.client.as_ref(), &visit.service).await?;
        let only_a_talk = known.readiness(now, now).verdict == Verdict::Ask;
        Ok(self.script.guest(plan.guest)?.talked.clone().filter(|_| only_a_talk))
    }

    /// The record is written, and the visit is done.
    pub(super) async fn record(&mut self, number: usize, plan: &Plan, id: &VisitId) -> Result<(), DemoRefused> {
        let visit = self.visit(id).await?;
        let record = self.written(plan, &visit).await?;
        let member = self.opened.treats_as(&visit.practitioner)?;
        let shown = self.shown(id, visit.client.as_ref()).await?;
        let treatment = treating::record(self.app, member, id, record, &shown).await?;
        if let Some(Turn::Corrected { .. } | Turn::Reaction { .. }) = plan.booking.turn {
            self.at(visit.ends_at + Duration::hours(19), number, Event::Correct(treatment));
        }
        Ok(())
    }

    /// The record is put right the next day: a minute less than was written, or a reaction that came later.
    pub(super) async fn correct(&mut self, number: usize, plan: &Plan, id: &TreatmentId) -> Result<(), DemoRefused> {
        let written = treatments::get(&mut *self.app.db.read().await?, id).await?;
        let last = written.as_ref().and_then(|treatment| treatment.current()).cloned();
        let last = last.ok_or_else(|| refused(id, "no record"))?;
        let member = self.opened.treats_as(&last.practitioner)?;
        let mut record = Record {
            service: last.service,
            started_at: last.started_at,
            ended_at: last.ended_at,
            shield: last.shield,
            lotion_one_minutes: last.lotion_one_minutes,
            lotion_two_minutes: last.lotion_two_minutes,
            tint_minutes: last.tint_minutes,
            notes: last.notes,
            aftercare_given: last.aftercare_given,
            outcome: last.outcome,
            count: last.count,
            products: last.products,
            used_although: String::new(),
            rinsed: last.rinsed,
            times: last.times,
            mail_aftercare: false,
        };
        let because = match &plan.booking.turn {
            Some(Turn::Corrected { because }) => {
                record.lotion_two_minutes = record.lotion_two_minutes.map(|minutes| minutes.saturating_sub(1));
                because
            }
            Some(Turn::Reaction { because }) => {
                record.outcome = Outcome::Reaction;
                record.notes = self.say(&self.script.words().reaction);
                because
            }
            _ => return Ok(()),
        };
        let (visit, client) = written.as_ref().map(|one| (&one.visit, &one.client)).unzip();
        let visit = visit.ok_or_else(|| refused(id, "no visit"))?;
        let said = Correction { reason: because, of: last.version, shown: self.shown(visit, client).await? };
        treating::correct(self.app, member, id, record, said).await?;
        if let (Some(Turn::Reaction { .. }), Some(written)) = (&plan.booking.turn, written) {
            let report = Report {
                id: ReactionId::from_random(self.app.random.id()),
                visit: Some(written.visit.clone()),
                began_at: last.ended_at + Duration::hours(7),
                signs: [Sign::Itch, Sign::Redness].into(),
                lasted: None,
                level: None,
                rinsed: None,
                first_aid: self.say(&self.script.words().reaction),
                care: String::new(),
                note: because.clone(),
            };
            let refused = |error: reactions::Refused| refused(id, error.to_string());
            reactions::report(self.app, member, &written.client, report).await.map_err(refused)?;
            self.follow(number, &written.client).await?;
        }
        Ok(())
    }

    /// What the record's form shows of the chair.
    async fn shown(&self, visit: &VisitId, client: Option<&ClientId>) -> Result<Mark, DemoRefused> {
        let client = client.ok_or_else(|| refused(visit, "no client"))?;
        Ok(at_chair::mark(&mut *self.app.db.read().await?, visit, client).await?)
    }

    /// Her newest report is asked after three times.
    async fn follow(&mut self, number: usize, client: &ClientId) -> Result<(), DemoRefused> {
        let all = reports::of_client(&mut *self.app.db.read().await?, client).await?;
        let now = self.app.clock.now();
        for newest in all.into_iter().take(1) {
            for hours in [24, 48, 96] {
                let event = Event::AskAgain { reaction: newest.id.clone(), last: hours == 96 };
                self.at(now + Duration::hours(hours) + Duration::minutes(20), number, event);
            }
        }
        Ok(())
    }

    /// Somebody asks how it is; the last time it is settled.
    pub(super) async fn ask_again(&self, id: &ReactionId, last: bool) -> Result<(), DemoRefused> {
        let found = reports::get(&mut *self.app.db.read().await?, id).await?;
        let Some(report) = found else { return Ok(()) };
        let refused = |error: reactions::Refused| refused(id, error.to_string());
        let words = self.script.words();
        let told = if last { &words.reaction_over } else { &words.reaction_eases };
        let signs = if last { BTreeSet::new() } else { [Sign::Itch].into() };
        let added = Added::FollowUp { signs, level: None, care: String::new(), note: self.say(told) };
        let member = self.opened.owner()?;
        reactions::add(self.app, member, &report.id, added).await.map_err(refused)?;
        if last {
            let settled = Added::Settled(self.say(&words.reaction_over), self.say(&words.reaction_corrected));
            reactions::add(self.app, member, &report.id, settled).await.map_err(refused)?;
        }
        Ok(())
    }

    async fn written(&self, plan: &Plan, visit: &Visit) -> Result<Record, DemoRefused> {
        let (script, turn) = (self.script, plan.booking.turn.as_ref());
        let she = script.guest(plan.guest)?;
        let key = match turn {
            Some(Turn::Against { done, .. }) => done,
            _ => &plan.booking.service,
        };
        let (offer, service) = (script.offer(key)?, of(&self.opened.services, key)?);
        let begun = treatments::start(&mut *self.app.db.read().await?, &visit.id).await?;
        let uses = offer.uses.iter().map(|key| {
            let batch = script.batch(key, self.present())?.to_owned();
            Ok((of(&self.opened.products, key)?.clone(), batch))
        });
        let has = |family| service.kind.chemistries().contains(&family);
        let outcome = match turn {
            Some(Turn::Less) => Outcome::LessThanWished,
            Some(Turn::Stopped) => Outcome::Stopped,
            _ => Outcome::AsWished,
        };
        let lotion = has(Chemistry::Lotion).then(|| self.minutes(she, service.kind));
        Ok(Record {
            service: service.id.clone(),
            started_at: begun.map_or(visit.starts_at, |begun| begun.started_at),
            ended_at: self.app.clock.now(),
            shield: if service.kind.lifts_lashes() { shield(plan.guest).to_owned() } else { String::new() },
            lotion_one_minutes: lotion,
            lotion_two_minutes: lotion.map(|one| one - 1).filter(|_| outcome != Outcome::Stopped),
            tint_minutes: has(Chemistry::Tint).then(|| 6 + self.die(4)),
            notes: self.notes(script.words(), service.kind, outcome),
            aftercare_given: true,
            outcome,
            count: self.count(visit, service.kind).await?,
            products: uses.collect::<Result<_, DemoRefused>>()?,
            used_although: String::new(),
            rinsed: None,
            times: Vec::new(),
            mail_aftercare: false,
        })
    }

    fn minutes(&self, she: &Guest, kind: ServiceKind) -> u16 {
        let base = match (kind.area(), she.lashes) {
            (Area::Brow, _) | (_, Lashes::Fine) => 5,
            (_, Lashes::Middling) => 7,
            (_, Lashes::Strong) => 9,
        };
        base + self.die(2)
    }

    fn notes(&self, words: &Words, kind: ServiceKind, outcome: Outcome) -> String {
        match (outcome, kind.area()) {
            (Outcome::LessThanWished, _) => self.say(&words.less),
            (Outcome::Stopped, _) => self.say(&words.stopped),
            (Outcome::AsWished | Outcome::Reaction, _) if self.die(5) > 1 => String::new(),
            (_, Area::Lash) => self.say(&words.lashes),
            (_, Area::Brow) => self.say(&words.brows),
        }
    }

    /// Lashes counted before a lift, and how many of them the last one still holds: each by the dice, at the share that
    /// the growth cycle leaves.
    async fn count(&self, visit: &Visit, kind: ServiceKind) -> Result<Option<(u16, u16)>, DemoRefused> {
        let client: Option<&ClientId> = visit.client.as_ref();
        let past = treatments::past(&mut *self.app.db.read().await?, client).await?;
        let lifts = past.iter().filter(|one| one.kind.lifts_lashes()).map(|one| one.on);
        let Some(last) = lifts.max().filter(|_| kind.lifts_lashes() && self.die(4) > 0) else { return Ok(None) };
        let days = u16::try_from((visit.civil.date() - last).whole_days()).unwrap_or(u16::MAX);
        let share = CycleSet::default().still_lifted(f64::from(days)).get();
        let counted = 40 + self.die(21);
        let lifted = (0..counted).filter(|_| f64::from(self.die(1000)) < share * 1000.0).count();
        Ok(Some((counted, u16::try_from(lifted).unwrap_or(counted))))
    }
}

fn shield(guest: usize) -> &'static str {
    match guest % 3 {
        0 => "small",
        1 => "medium",
        _ => "large",
    }
}
