//! What stands between a booking that is filled in and a booked visit, and the last step.
//! Where a rule says that this visit can't be, a page says so and what can be done. Template: `public/book/not_yet.html`.

use askama::Template;
use axum::response::Response;

use super::Booking;
use crate::actions::answers;
use crate::actions::book::{self, Booked, Complete, Person};
use crate::actions::case::{Asked, Drafted, Known};
use crate::app::App;
use crate::domain::consent::Signed;
use crate::domain::questionnaire::{AnswerSet, Answers};
use crate::domain::readiness::Readiness;
use crate::domain::screening::TestPermission;
use crate::domain::verdict::{About, Clears, Reason, Verdict};
use crate::web::error::Fault;
use crate::web::page::{Ctx, see_other};
use crate::web::signing::Wanted;
use crate::{t, tf, when};

/// What the rules say of a booking.
pub(super) struct Judged {
    pub(super) readiness: Readiness,
    /// What a parent or guardian has to do when she signs.
    pub(super) wanted: Wanted,
    /// Whether the skin test that is booked along may be applied on its day.
    pub(super) test: TestPermission,
    /// The earlier signature, as long as it holds: when it was given, and its id.
    pub(super) signed: Option<(time::OffsetDateTime, String)>,
}

#[derive(Template)]
#[template(path = "public/book/not_yet.html")]
pub(super) struct NotYetPage {
    ctx: Ctx,
    service: String,
    sentences: Vec<String>,
    /// She would rather talk about what decides on the skin test, and nothing else stands against it.
    talk: bool,
    /// Her answers are on her record.
    kept: bool,
    /// Where a later time can be chosen, and from which day on.
    later: Option<(String, String)>,
    change: String,
}

impl Booking {
    /// Answers as they would be stored.
    pub(super) fn set_of(&self, answers: Answers) -> AnswerSet {
        AnswerSet {
            questionnaire: self.in_force.questionnaire.version(),
            given_on: self.today(),
            returning: self.last.is_some(),
            answers,
        }
    }

    /// What the rules say with these answers.
    pub(super) async fn judge(&self, app: &App, answers: Answers) -> Result<Judged, Fault> {
        let treatment = self.treatment().ok_or_else(|| Fault::SeeOther(self.path("time")))?;
        let asked = Asked {
            client: self.draft.client.as_ref(),
            service: &self.service.id,
            at: treatment.starts_at,
            now: self.now,
        };
        let test = self.visits.iter().find(|visit| Some(&visit.id) == treatment.paired_test.as_ref());
        let drafted = Drafted {
            birth: self.born(),
            answers: Some((self.set_of(answers), self.now)),
            consent: None,
            test_booked_at: test.map(|visit| visit.starts_at),
        };
        let mut c = app.db.read().await?;
        let mut known = Known::load(&mut c, &self.studio, asked.client, asked.service).await?;
        known.add(drafted);
        let signed = known.signed().map(|signed| (signed.at, signed.id.to_string()));
        let readiness = known.readiness(asked.at, asked.now);
        let test = test.map_or(TestPermission::Yes, |visit| known.may_test(visit.civil.date()));
        Ok(Judged { test, wanted: Wanted::of(&known.unsigned().readiness(asked.at, asked.now)), readiness, signed })
    }

    /// The page that says why not, when a rule says so.
    pub(super) fn not_yet(&self, ctx: &Ctx, judged: &Judged) -> Option<NotYetPage> {
        let visit_day = self.treatment().map(|visit| visit.civil.date())?;
        let stops: Vec<_> = judged.readiness.against_booking().collect();
        let (test_from, no_test) = match &judged.test {
            TestPermission::NotBefore(day) => (Some(*day), false),
            // Her age speaks for itself.
            TestPermission::No { rule } => (None, rule != TestPermission::AGE),
            TestPermission::LetterFirst | TestPermission::ReactionOpen => (None, true),
            TestPermission::Yes | TestPermission::Unreliable | TestPermission::AskFirst => (None, false),
        };
        let talk = judged.test == TestPermission::AskFirst;
        if stops.is_empty() && test_from.is_none() && !no_test && !talk {
            return None;
        }
        // What passes forbids no later day.
        let passes = |reason: &Reason| matches!(reason.about, About::Question(_)) && reason.from.is_some();
        let forbids = |reason: &&Reason| reason.verdict == Verdict::DoNotTreat && !passes(reason);
        let forbidden = no_test || talk || stops.iter().copied().any(|reason| forbids(&reason));
        // Another time helps where it lies later, or where a skin test can be made before it.
        let helps = |reason: &&&Reason| {
            let tested = reason.clears.iter().any(|by| matches!(by, Clears::SkinTest | Clears::Reading));
            tested || reason.from.is_some_and(|from| from.day() > visit_day)
        };
        let from =
            stops.iter().filter(helps).filter_map(|reason| reason.from).map(|from| from.day()).max().max(test_from);
        let about_test = match test_from {
            Some(day) => Some(tf("The skin test can be made from {day} on.").with("day", when::day(day)).to_string()),
            None if talk => {
                Some(t("Before the skin test we would like to hear what you would rather talk about.").to_owned())
            }
            None if judged.test == TestPermission::LetterFirst => Some(
                t("No skin test can be made before we have a short letter from your doctor that says it is fine for you.")
                    .to_owned(),
            ),
            None if judged.test == TestPermission::ReactionOpen => {
                let open = judged.readiness.reasons.iter().find(|reason| reason.about == About::Reaction(None));
                open.map(|reason| reason.say.clone())
            }
            None => {
                no_test.then(|| t("No skin test can be made as things are, and without one we don’t start.").to_owned())
            }
        };
        Some(NotYetPage {
            ctx: ctx.clone(),
            service: self.service.name.clone(),
            talk: talk && stops.is_empty(),
            kept: self.kept_when_refused(),
            sentences: stops
                .iter()
                .map(|reason| reason.say.clone())
                .filter(|say| !say.is_empty())
                .chain(about_test)
                .collect(),
            later: from.filter(|_| !forbidden).map(|day| (format!("{}?from={day}", self.path("time")), when::day(day))),
            change: self.before_answers(),
        })
    }

    /// Who has a record answers for it, whether or not anything is booked in the end. Of somebody whose first answers these
    /// are nothing is booked yet that they could speak against.
    fn kept_when_refused(&self) -> bool {
        self.draft.client.is_some() && self.last.is_some()
    }

    /// Once all is answered: keeps with her record what leaves nothing to book.
    pub(super) async fn tell_refused(&self, app: &App, ctx: &Ctx) -> Result<(), Fault> {
        let Some(client) = self.draft.client.as_ref().filter(|_| self.kept_when_refused() && self.answered()) else {
            return Ok(());
        };
        let judged = self.judge(app, self.answers()).await?;
        if self.not_yet(ctx, &judged).is_some() {
            answers::keep(app, &self.studio, client, self.set_of(self.answers())).await?;
        }
        Ok(())
    }

    /// The earlier signature that holds: when, and where to read it.
    pub(super) fn held(&self, judged: &Judged) -> Option<(String, String)> {
        let (at, id) = judged.signed.as_ref()?;
        Some((when::day(self.studio.zone.date_at(*at)), format!("/me/papers/{id}")))
    }

    /// Where her answers can be looked at again.
    pub(super) fn before_answers(&self) -> String {
        self.path(if self.last.is_some() { "answers" } else { "health/1" })
    }

    /// Books what [`Self::keep`] has just kept, with a new signature or on the earlier one that holds.
    pub(super) async fn finish(&self, app: &App, signed: Option<Signed>) -> Result<Response, Fault> {
        let person = match (&self.draft.client, self.person()) {
            (Some(id), _) => Person::Known(id.clone()),
            (None, Ok(given)) => {
                Person::Given { name: given.name, mail: given.mail, phone: given.phone, born: given.born }
            }
            (None, Err(_)) => return Err(Fault::SeeOther(self.path("details"))),
        };
        let complete = Complete {
            person,
            answers: self.set_of(self.answers()),
            signed,
            text_version: self.in_force.consent.version(),
        };
        match book::book(app, &self.studio, &self.draft, complete).await? {
            Booked::Done => Ok(see_other(&self.path("done"))),
            Booked::TimeGone => Ok(see_other(&self.path("time"))),
            // What is asked or signed now is on the page that is next.
            Booked::Changed => Ok(see_other(&self.path("sign"))),
        }
    }
}

/// What she should know before she comes: reasons that don't forbid the booking and aren't settled on the page itself.
pub(super) fn to_know(readiness: &Readiness) -> Vec<String> {
    let reasons = readiness.reasons.iter().filter(|reason| !matches!(reason.about, About::Consent | About::Age));
    reasons.map(|reason| reason.say.clone()).filter(|say| !say.is_empty()).collect()
}
