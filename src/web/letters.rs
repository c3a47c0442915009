//! The form for a clinician's letter, which the client and the desk share, and how letters are shown.

use std::collections::BTreeSet;

use time::Date;

use crate::actions::letters::Refused;
use crate::documents::upload::{Checked, Takes};
use crate::domain::catalogue::ServiceKind;
use crate::domain::fingerprint::Fingerprint;
use crate::domain::ids::LetterId;
use crate::domain::letter::{CLINICIAN_MAX, LetterDraft, LetterRefused};
use crate::domain::questionnaire::Questionnaire;
use crate::store::health::InForce;
use crate::store::letters::StoredLetter;
use crate::web::day;
use crate::web::error::Fault;
use crate::web::form::{Errors, FormWithFile};
use crate::web::words;
use crate::when;
use crate::{t, tf};

/// What the form offers to choose from.
pub struct Scope {
    /// The questions on which a letter can help: key and words.
    pub questions: Vec<(String, String)>,
    /// The kinds of service: word and words.
    pub services: Vec<(&'static str, &'static str)>,
}

impl Scope {
    /// From the rules in force.
    pub fn of(in_force: &InForce) -> Self {
        let speaks: BTreeSet<&str> = in_force.rules.with_letter().collect();
        let questions = in_force.questionnaire.questions().filter(|question| speaks.contains(question.key.as_str()));
        Self {
            questions: questions.map(|question| (question.key.clone(), question.text.clone())).collect(),
            services: ServiceKind::ALL.map(|kind| (kind.as_str(), words::kind(kind))).to_vec(),
        }
    }

    /// What was typed, with the file; or what is wrong with it.
    ///
    /// # Errors
    /// By field.
    pub async fn read(&self, form: &mut FormWithFile, id: LetterId) -> Result<(LetterDraft, Checked), Errors> {
        let mut errors = Errors::new();
        let file = match form.take(Takes::PhotoOrPdf).await {
            Ok(None) => {
                errors.add("file", t("Choose the letter: a PDF, or a photo of it."));
                None
            }
            taken => errors.take("file", taken, words::upload).flatten(),
        };
        let fields = &form.fields;
        let dated = day::field(&mut errors, fields, "dated");
        let expires = day::field(&mut errors, fields, "expires");
        let known = |key: &&str| self.questions.iter().any(|(known, _)| known == key);
        let questions = fields.many("many-question").filter(known).map(str::to_owned).collect();
        let services = fields.many("many-service").filter_map(ServiceKind::parse).collect();
        match (file, dated, expires) {
            (Some(file), Some(dated), Some(expires)) if errors.is_empty() => {
                let clinician = fields.trimmed("clinician").to_owned();
                let print = Fingerprint::of(&file.bytes);
                Ok((LetterDraft { id, clinician, dated, expires, questions, services, file: print }, file))
            }
            _ => Err(errors),
        }
    }
}

/// What is wrong with a letter, at its field.
///
/// # Errors
/// A fault when it is nothing that was typed.
pub fn refusal(refused: Refused) -> Result<Errors, Fault> {
    let (field, said) = match refused {
        Refused::Store(error) => return Err(error.into()),
        Refused::NotFound => return Err(Fault::NotFound),
        Refused::Done => return Err(Fault::Conflict),
        Refused::TakenBack => (
            "file",
            t("You took back that we keep anything about your health, so we keep no letter. Sign again first.")
                .to_owned(),
        ),
        Refused::Full => ("file", words::no_room_for_files().to_owned()),
        Refused::Letter(refused) => match refused {
            LetterRefused::NoClinician => ("clinician", t("Write who signed the letter.").to_owned()),
            LetterRefused::BadClinician => (
                "clinician",
                tf("Write the name in at most {most} plain characters.").with("most", CLINICIAN_MAX).to_string(),
            ),
            LetterRefused::Future => {
                ("dated", t("That day is still to come. Write the day that stands on it.").to_owned())
            }
            LetterRefused::ExpiresBeforeDated => ("expires", t("That is before the letter was written.").to_owned()),
            LetterRefused::NoQuestion => ("questions", t("Tick what the letter speaks of.").to_owned()),
            LetterRefused::NoService => ("services", t("Tick the treatments that it allows.").to_owned()),
        },
    };
    let mut errors = Errors::new();
    errors.add(field, said);
    Ok(errors)
}

/// A letter as it is shown.
pub struct LetterView {
    /// Its id.
    pub id: String,
    /// The id of the paper.
    pub file: String,
    /// Who signed it.
    pub clinician: String,
    /// The day on it.
    pub dated: String,
    /// Until when it counts.
    pub expires: String,
    /// Whether that is over.
    pub over: bool,
    /// What it speaks of.
    pub about: Vec<String>,
    /// The treatments that it allows.
    pub services: String,
    /// Whether the client added it.
    pub by_client: bool,
    /// Who of the team read it.
    pub read_by: Option<String>,
    /// Why it doesn't count.
    pub set_aside: Option<String>,
}

impl LetterView {
    /// In the words of the questions in force.
    pub fn of(stored: &StoredLetter, questions: &Questionnaire, today: Date) -> Self {
        let letter = &stored.letter;
        let asked = |key: &String| questions.question(key).map_or_else(|| key.clone(), |asked| asked.text.clone());
        let services: Vec<&str> = letter.services().iter().map(|kind| words::kind(*kind)).collect();
        Self {
            id: letter.id().to_string(),
            file: stored.file.to_string(),
            clinician: letter.clinician().to_owned(),
            dated: when::day(letter.dated()),
            expires: when::day(letter.expires()),
            over: letter.expires() < today,
            about: letter.questions().iter().map(asked).collect(),
            services: services.join(", "),
            by_client: stored.added_by == "client",
            read_by: stored.read.as_ref().map(|(by, _)| by.clone()),
            set_aside: stored.set_aside.as_ref().map(|(_, _, why)| why.clone()),
        }
    }
}
