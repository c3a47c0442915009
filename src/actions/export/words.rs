//! What stored words are called on a paper that is read years later, in the language that the studio speaks. What is in
//! the log stays as it was written there: actions are codes, and the hash is over the very words.

use time::Date;

use super::collect::Collector;
use crate::actions::takeover::{ELSEWHERE, NOT_KNOWN};
use crate::documents::record::{Aftercare, Answer, Drawing, ProductUse, Step, Treatment};
use crate::domain::catalogue::{Chemistry, ServiceKind};
use crate::domain::consent::{self, ConsentText};
use crate::domain::ids::ProductId;
use crate::domain::questionnaire::{Answers, Questionnaire, Taken};
use crate::domain::reaction::{Lasted, Level, Sign};
use crate::domain::skin_test::{SkinTest, VoidCause};
use crate::domain::timing::{Side, SideTime};
use crate::domain::verdict::{About, Earliest, Reason, Verdict};
use crate::domain::visit::VisitState;
use crate::store::audit::Entry;
use crate::store::treatments::{self, Outcome, Version};
use crate::store::visits::Purpose;
use crate::{t, tc, tf};

/// Who filled in, saw or signed, where it was the client.
pub(super) fn the_client() -> String {
    t("the client").to_owned()
}

/// Who wrote it: the client herself, or a member of the team by name.
pub(super) fn writer(name: &str) -> String {
    match name {
        "client" => the_client(),
        ELSEWHERE => t(ELSEWHERE).to_owned(),
        name => name.to_owned(),
    }
}

/// A batch or a place, or that it isn't known.
pub(super) fn known(text: String) -> String {
    if text == NOT_KNOWN { t(NOT_KNOWN).to_owned() } else { text }
}

/// What a role is called.
pub(super) fn role(word: &str) -> &str {
    match word {
        "owner" => t("owner"),
        "practitioner" => t("practitioner"),
        other => other,
    }
}

/// A text, or nothing when it is empty.
pub(super) fn said(text: &str) -> Option<String> {
    (!text.is_empty()).then(|| text.to_owned())
}

pub(super) fn filled_in_by(taken: Option<&Taken>) -> String {
    taken.map_or_else(the_client, Taken::in_words)
}

/// Every question that was answered, in the order of the form.
pub(super) fn answers(questions: &Questionnaire, answers: &Answers) -> Vec<Answer> {
    let asked = questions.questions().filter_map(|question| {
        let answer = answers.get(&question.key)?;
        Some(Answer {
            key: question.key.clone(),
            question: question.text.clone(),
            answer: question.in_words(answer),
            detail: None,
        })
    });
    asked.collect()
}

/// The text as it was shown, headings in lines of their own.
pub(super) fn consent_text(text: &ConsentText, guardian: bool) -> String {
    let parts = text.paragraphs().iter().map(|part| format!("{}\n{}", part.title, part.text));
    parts.chain(guardian.then(|| text.guardian().to_owned())).collect::<Vec<_>>().join("\n\n")
}

pub(super) fn drawing(drawing: &consent::Drawing) -> Drawing {
    Drawing {
        width: consent::Drawing::WIDTH,
        height: consent::Drawing::HEIGHT,
        strokes: drawing.strokes().iter().map(|stroke| stroke.iter().map(|p| (p.x, p.y)).collect()).collect(),
    }
}

/// Why a test does not count, or no longer does since a day.
pub(super) fn caveat(test: &SkinTest, lost: Option<Date>) -> Option<String> {
    let cause = test.voided.map(void_cause);
    match (cause, lost) {
        (Some(cause), Some(day)) => {
            Some(tf("no longer counts since {day}: {cause}").with("day", day).with("cause", cause).to_string())
        }
        (None, Some(day)) => Some(tf("no longer counts since {day}").with("day", day).to_string()),
        (Some(cause), None) => Some(tf("does not count: {cause}").with("cause", cause).to_string()),
        (None, None) if !test.reliable => Some(t("a medicine may have kept a reaction down").to_owned()),
        (None, None) => None,
    }
}

fn void_cause(cause: VoidCause) -> &'static str {
    match cause {
        VoidCause::NewProduct => t("new product"),
        VoidCause::FormulaChange => t("formula change"),
        VoidCause::Reaction => t("reaction"),
        VoidCause::BlackHenna => t("black henna"),
        VoidCause::HealthChange => t("health change"),
        VoidCause::SuppressingMedicine => t("suppressing medicine"),
        VoidCause::Mistake => t("mistake"),
        VoidCause::TakenOver => t("taken over"),
    }
}

pub(super) fn state(purpose: Purpose, state: VisitState) -> &'static str {
    match state {
        VisitState::InTreatment | VisitState::Done if purpose == Purpose::SkinTest => t("client came to the skin test"),
        VisitState::Held | VisitState::HoldExpired => t("not booked"),
        VisitState::Booked => tc("a visit", "booked"),
        VisitState::Arrived => t("client has come"),
        VisitState::InTreatment => t("in treatment"),
        VisitState::Done => tc("a visit", "treated"),
        VisitState::CancelledByClient => t("cancelled by the client"),
        VisitState::CancelledByStudio => t("cancelled by the studio"),
        VisitState::NoShow => t("client did not come"),
    }
}

/// Who booked: a client's first booking is made by a visitor.
pub(super) fn booker(entry: &Entry) -> String {
    match entry.actor_kind.as_str() {
        "visitor" | "client" => t("the client, online").to_owned(),
        _ => actor(entry),
    }
}

pub(super) fn actor(entry: &Entry) -> String {
    match entry.actor_kind.as_str() {
        "client" => the_client(),
        "visitor" => t("somebody not signed in").to_owned(),
        "program" => t("the program").to_owned(),
        "command" => t("the command line").to_owned(),
        word => format!("{} ({})", entry.actor_name, role(word)),
    }
}

pub(super) fn done(entry: &Entry) -> String {
    let action = entry.action.replace('.', " ");
    if entry.detail.is_empty() { action } else { format!("{action}: {}", entry.detail) }
}

pub(super) fn verdict(verdict: Verdict, from: Option<Earliest>) -> String {
    match (verdict, from) {
        (Verdict::WaitUntil, Some(Earliest::Day(day))) => tf("wait until {when}").with("when", day).to_string(),
        (Verdict::WaitUntil, Some(Earliest::Moment(moment))) => {
            let when = format!("{}, {:02}:{:02}", moment.date(), moment.hour(), moment.minute());
            tf("wait until {when}").with("when", when).to_string()
        }
        (Verdict::WaitUntil, None) => tc("a verdict", "wait until").to_owned(),
        (Verdict::Clear, _) => tc("a verdict", "clear").to_owned(),
        (Verdict::Note, _) => tc("a verdict", "note").to_owned(),
        (Verdict::Ask, _) => tc("a verdict", "ask").to_owned(),
        (Verdict::LetterNeeded, _) => tc("a verdict", "letter needed").to_owned(),
        (Verdict::DoNotTreat, _) => tc("a verdict", "do not treat").to_owned(),
    }
}

/// A reason with what it takes to defend it: what it is about, the rule and what that rests on.
pub(super) fn reason(reason: &Reason, product: impl Fn(&ProductId) -> Option<String>) -> String {
    let mut head = verdict(reason.verdict, reason.from);
    let about = match &reason.about {
        About::SkinTest(id) | About::Product(id) | About::Reaction(Some(id)) => {
            product(id).unwrap_or_else(|| id.to_string())
        }
        About::Question(key) => key.replace('_', " "),
        About::Age | About::Answers | About::Consent | About::Window | About::Reaction(None) => String::new(),
    };
    if !about.is_empty() {
        head = format!("{head}, {about}");
    }
    let basis = reason.basis.to_string();
    let line = if basis.is_empty() {
        tf("{verdict}: {sentence} (rule {rule}, version {version})")
    } else {
        tf("{verdict}: {sentence} (rule {rule}, version {version}; {basis})").with("basis", basis)
    };
    let line = line.with("verdict", head).with("sentence", &reason.say);
    line.with("rule", &reason.rule).with("version", reason.version).to_string()
}

pub(super) fn kind(kind: ServiceKind) -> &'static str {
    match kind {
        ServiceKind::LashLift => tc("a kind of service", "lash_lift"),
        ServiceKind::LashTint => tc("a kind of service", "lash_tint"),
        ServiceKind::LiftAndTint => tc("a kind of service", "lift_and_tint"),
        ServiceKind::BrowLamination => tc("a kind of service", "brow_lamination"),
        ServiceKind::BrowTint => tc("a kind of service", "brow_tint"),
    }
}

pub(super) fn lasted(lasted: Lasted) -> &'static str {
    match lasted {
        Lasted::Still => t("still there when it was reported"),
        Lasted::TwoHours => t("gone within two hours"),
        Lasted::TwoDays => t("gone within 48 hours"),
        Lasted::Longer => t("lasted longer than 48 hours"),
    }
}

pub(super) fn level(level: Level) -> &'static str {
    match level {
        Level::Expected => tc("a reaction", "expected"),
        Level::Mild => tc("a reaction", "mild"),
        Level::Moderate => tc("a reaction", "moderate"),
        Level::Serious => tc("a reaction", "serious"),
        Level::Emergency => tc("a reaction", "emergency"),
    }
}

pub(super) fn sign(sign: Sign) -> &'static str {
    match sign {
        Sign::BriefWatering => t("brief watering"),
        Sign::Itch => t("itch"),
        Sign::Redness => t("redness"),
        Sign::SpreadingRash => t("spreading rash"),
        Sign::LidSwelling => t("lid swelling"),
        Sign::HairLoss => t("hair loss"),
        Sign::SeverePain => t("severe pain"),
        Sign::LightHurts => t("light hurts"),
        Sign::SightChanged => t("sight changed"),
        Sign::BlisterOrBurn => t("blister or burn"),
        Sign::EyeShut => t("eye shut"),
        Sign::FaceOrThroatSwelling => t("face or throat swelling"),
        Sign::ShortBreath => t("short breath"),
        Sign::Collapse => t("collapse"),
    }
}

fn outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::AsWished => t("as wished"),
        Outcome::LessThanWished => t("less than wished"),
        Outcome::Stopped => t("stopped before its end"),
        Outcome::Reaction => t("with a reaction"),
    }
}

fn used_for(chemistry: Chemistry) -> &'static str {
    match chemistry {
        Chemistry::Lotion => t("lotion"),
        Chemistry::Tint => t("tint"),
        Chemistry::Adhesive => t("glue"),
    }
}

impl Collector {
    /// Every version of a record, the first one first.
    pub(super) fn treatments(&self, treatment: treatments::Treatment) -> Vec<Treatment> {
        let id = treatment.id;
        treatment.versions.into_iter().rev().map(|version| self.version(&id, version)).collect()
    }

    fn version(&self, id: &crate::domain::ids::TreatmentId, version: Version) -> Treatment {
        let minutes = [
            (t("first lotion"), version.lotion_one_minutes),
            (t("second lotion"), version.lotion_two_minutes),
            (t("tint"), version.tint_minutes),
        ];
        let step = |(name, minutes): (&str, Option<u16>)| Some(Step { name: name.to_owned(), minutes: minutes? });
        let count = version.count.map(|(counted, lifted)| Answer {
            key: "lashes_counted".to_owned(),
            question: t("Lashes counted in a marked stretch").to_owned(),
            answer: tf("{counted}, of which {lifted} were still lifted from before")
                .with("counted", counted)
                .with("lifted", lifted)
                .to_string(),
            detail: None,
        });
        let rinsed = version.rinsed.map(|rinsed| Answer {
            key: "eyes_rinsed".to_owned(),
            question: t("Eyes rinsed").to_owned(),
            answer: if rinsed { t("Yes") } else { t("Not noted") }.to_owned(),
            detail: None,
        });
        Treatment {
            id: id.clone(),
            version: version.version,
            written_at: self.moment(version.written_at),
            written_by: version.written_by,
            why_corrected: said(&version.reason),
            practitioner: self.practitioner(&version.practitioner),
            certificate: self.certificate(&version.practitioner, &version.service, version.started_at),
            service: self.services.get(&version.service).cloned().unwrap_or_default(),
            started_at: self.moment(version.started_at),
            ended_at: Some(self.moment(version.ended_at)),
            shield: said(&version.shield),
            shade: None,
            products: version.products.into_iter().map(|(product, batch)| self.product_use(product, batch)).collect(),
            steps: minutes
                .into_iter()
                .filter_map(step)
                .chain(version.times.iter().map(|time| self.worn(time)))
                .collect(),
            checks: count.into_iter().chain(rinsed).collect(),
            outcome: Some(outcome(version.outcome).to_owned()),
            client_comment: None,
            notes: said(&version.notes),
            // Which text was given is not stored; that some was, is.
            aftercare: version.aftercare_given.then(|| Aftercare {
                text: String::new(),
                version: String::new(),
                hash: String::new(),
                given: t("yes").to_owned(),
            }),
        }
    }

    /// A step on one side with its times to the second, on the studio's clock.
    fn worn(&self, time: &SideTime) -> Step {
        let clock = |at| {
            let civil = self.moment(at).local;
            format!("{:02}:{:02}:{:02}", civil.hour(), civil.minute(), at.second())
        };
        let name = match (time.late(), time.over()) {
            (_, Some(over)) => tf("{step}, {side} side, {on} to {off}, {s} s over the label's longest time")
                .with("s", over.whole_seconds()),
            (Some(late), None) => {
                tf("{step}, {side} side, {on} to {off}, {s} s after its time was up").with("s", late.whole_seconds())
            }
            (None, None) => tf("{step}, {side} side, {on} to {off}"),
        };
        let side = match time.side {
            Side::Right => tc("a side", "right"),
            Side::Left => tc("a side", "left"),
        };
        let name = name.with("step", &time.step).with("side", side).with("on", clock(time.on));
        let minutes = (time.length().whole_seconds() + 30) / 60;
        Step {
            name: name.with("off", clock(time.off)).to_string(),
            minutes: u16::try_from(minutes).unwrap_or(u16::MAX),
        }
    }

    pub(super) fn product_use(&self, id: ProductId, batch: String) -> ProductUse {
        let product = self.products.get(&id);
        let key = (id, batch);
        ProductUse {
            step: product.map(|product| used_for(product.chemistry)).unwrap_or_default().to_owned(),
            product: product.map(|product| product.name.clone()).unwrap_or_default(),
            expires: self.batches.get(&key).copied().flatten(),
            batch: Some(key.1),
        }
    }
}
