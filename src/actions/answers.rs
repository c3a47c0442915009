//! Answers outside of a booking: what a client says here or on the phone, taken down by somebody of the team, and what she
//! wrote on the way to a booking that can't be.

use std::collections::BTreeSet;

use time::{Date, OffsetDateTime};

use super::treating::may_see;
use super::verdicts;
use crate::app::App;
use crate::domain::catalogue::ServiceKind;
use crate::domain::ids::{AnswersId, ClientId};
use crate::domain::mark::{Changed, Mark};
use crate::domain::questionnaire::{AnswerSet, Answers, Section, Taken, Told};
use crate::domain::readiness::ANSWERS_COUNT_FOR;
use crate::domain::role::{Actor, Member};
use crate::domain::screening::{Screening, taken_back};
use crate::store::audit::Event;
use crate::store::health::{InForce, StoredAnswers};
use crate::store::studio::Studio;
use crate::store::{Connection, StoreError, Stored, audit, health, readable, visits};

/// What can be asked of a client.
pub struct Questions {
    /// Her newest answers.
    pub given: Option<StoredAnswers>,
    in_force: InForce,
    services: Vec<ServiceKind>,
    /// The questions that are open, that follow one which is, or whose answer was taken back, by the one at the root.
    open: BTreeSet<String>,
}

impl Questions {
    /// Loads them for some kinds of services, as of a day.
    ///
    /// # Errors
    /// When the file can't be read.
    pub async fn load(c: &mut Connection, client: &ClientId, services: &[ServiceKind], on: Date) -> Stored<Self> {
        let all = health::answers(c, client).await?;
        let in_force = health::in_force(c).await?;
        let fresh = all.first().map(|given| &given.set).filter(|set| on < ANSWERS_COUNT_FOR.after(set.given_on));
        let mut open = fresh.map_or_else(BTreeSet::new, |set| open(&in_force, set, services));
        if fresh.is_some() {
            let sets: Vec<_> = all.iter().map(|given| (&given.set, given.taken.is_some())).collect();
            let back = |service| taken_back(&in_force.questionnaire, &in_force.rules, &sets, service);
            open.extend(services.iter().flat_map(|service| back(*service)));
        }
        let given = all.into_iter().next();
        Ok(Self { given, in_force, services: services.to_vec(), open })
    }

    /// Whether there are answers that still count, and some that are open beside them.
    pub fn some_open(&self) -> bool {
        !self.open.is_empty()
    }

    /// All that is asked for the services, or only what is open, each with what follows it. Whether anything has changed is not
    /// asked: the answers themselves are.
    pub fn sections(&self, all: bool) -> Vec<Section> {
        let questions = &self.in_force.questionnaire;
        let mut sections = self.in_force.rules.sections_for(questions, &self.services, false);
        if !all && self.some_open() {
            for section in &mut sections {
                section.questions.retain(|question| self.open.contains(&questions.root(question).key));
            }
            sections.retain(|section| !section.questions.is_empty());
        }
        sections
    }

    /// Her newest answers to other questions than these.
    pub fn beside(&self, sections: &[Section]) -> Option<StoredAnswers> {
        let mut given = self.given.clone()?;
        let asked: BTreeSet<&str> =
            sections.iter().flat_map(|section| &section.questions).map(|question| question.key.as_str()).collect();
        given.set.answers = kept(&self.in_force, given.set.answers).without(|key| asked.contains(key));
        (!given.set.answers.is_empty()).then_some(given)
    }

    /// What a page shows of them.
    pub fn mark(&self) -> Mark {
        mark(self.given.as_ref(), &self.in_force)
    }
}

fn open(in_force: &InForce, set: &AnswerSet, services: &[ServiceKind]) -> BTreeSet<String> {
    let (questionnaire, rules) = (&in_force.questionnaire, &in_force.rules);
    let screening = Screening { questionnaire, rules, set, letters: &[], ingredients: None };
    let open = services.iter().flat_map(|service| screening.open(*service)).filter(|question| !question.returning);
    open.map(|question| questionnaire.root(question).key.clone()).collect()
}

/// What stays of earlier answers: all but whether anything had changed then.
fn kept(in_force: &InForce, answers: Answers) -> Answers {
    answers.without(|key| in_force.questionnaire.question(key).is_some_and(|question| question.returning))
}

fn mark(given: Option<&StoredAnswers>, in_force: &InForce) -> Mark {
    let versions = (in_force.questionnaire.version(), in_force.rules.version());
    Mark::of(&(given.map(|given| given.id.as_str()), versions))
}

/// What was said.
pub struct Said {
    /// The id that the form brought along: the same form sent twice is one set.
    pub id: AnswersId,
    /// What the form showed.
    pub shown: Mark,
    /// Whose words these are.
    pub told: Told,
    /// The sections that were asked, with the answers.
    pub answers: Vec<(Section, Answers)>,
}

/// Why answers were not stored.
#[derive(Debug, thiserror::Error)]
pub enum NotTaken {
    /// The database can't.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// There is no such client, or none of this member's.
    #[error("not there")]
    NotFound,
    /// Her answers, or the questions, are others by now.
    #[error(transparent)]
    Changed(#[from] Changed),
}

/// Takes answers down as a new set of today. Those beside them stay as they were, and count as confirmed: the caller has seen to
/// it that she was asked.
///
/// # Errors
/// [`NotTaken`]; nothing is changed then.
pub async fn take_down(
    app: &App,
    studio: &Studio,
    member: &Member,
    client: &ClientId,
    said: Said,
) -> Result<(), NotTaken> {
    let now: OffsetDateTime = app.clock.now();
    let mut tx = app.db.write().await?;
    if !may_see(&mut tx, member, client).await? {
        return Err(NotTaken::NotFound);
    }
    if let Some(whose) = health::answered_by(&mut tx, &said.id).await? {
        return if whose == *client { Ok(()) } else { Err(NotTaken::NotFound) };
    }
    let newest = health::answers(&mut tx, client).await?.into_iter().next();
    let in_force = health::in_force(&mut tx).await?;
    said.shown.holds(&mark(newest.as_ref(), &in_force))?;
    let mut answers = kept(&in_force, newest.map(|given| given.set.answers).unwrap_or_default());
    for (section, given) in said.answers {
        answers.replace_section(&section, given);
    }
    let set = AnswerSet {
        questionnaire: in_force.questionnaire.version(),
        given_on: studio.zone.date_at(now),
        returning: false,
        answers,
    };
    let taken = Some(Taken { by: member.name.clone(), told: said.told });
    let given = StoredAnswers { id: said.id, set, taken, given_at: now };
    health::add_answers(&mut tx, client, &given).await?;
    let whose = said.told.as_str().replace('_', ", ");
    let event = Event { action: "answers.taken-down", client: Some(client), object: given.id.as_str(), detail: &whose };
    audit::append(&mut tx, &Actor::Member(member.clone()), event, now).await?;
    tx.commit().await?;
    Ok(())
}

/// Keeps what a client answered on the way to a booking that can't be: it may speak against what she has booked, which is
/// judged anew. The same answers twice are kept once.
///
/// # Errors
/// When the database can't.
pub async fn keep(app: &App, studio: &Studio, client: &ClientId, set: AnswerSet) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let newest = health::answers(&mut tx, client).await?.into_iter().next();
    let same = |given: &StoredAnswers| {
        given.set.questionnaire == set.questionnaire && given.set.answers.fingerprint() == set.answers.fingerprint()
    };
    if newest.is_some_and(|given| same(&given)) {
        return Ok(());
    }
    let given = StoredAnswers { id: AnswersId::from_random(app.random.id()), set, taken: None, given_at: now };
    health::add_answers(&mut tx, client, &given).await?;
    let event = Event { action: "answers.kept", client: Some(client), object: given.id.as_str(), detail: "" };
    audit::append(&mut tx, &Actor::Client(client.clone()), event, now).await?;
    for visit in visits::of_client(&mut tx, client).await? {
        // A record that can't be read says nothing, and keeps no answers out.
        let _ = readable(verdicts::settle(app, &mut tx, studio, &visit, now).await)?;
    }
    tx.commit().await
}
