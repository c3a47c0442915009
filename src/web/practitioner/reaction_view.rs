//! A reaction report in words, on the page and on paper.

use time::OffsetDateTime;

use super::view::Names;
use crate::actions::reactions::Refused;
use crate::documents::pdf::ReactionPaper;
use crate::domain::reaction::{EventRefused, Level, Sign};
use crate::store::reactions::{Body, Entry, Reaction};
use crate::store::studio::Studio;
use crate::store::{Connection, Stored, clients, treatments, visits};
use crate::web::error::Fault;
use crate::web::form::Errors;

/// A sign in words.
pub(super) fn sign_words(sign: Sign) -> &'static str {
    match sign {
        Sign::BriefWatering => "Watering or mild pink for less than two hours",
        Sign::Itch => "Itch",
        Sign::Redness => "Redness without swelling",
        Sign::SpreadingRash => "A rash that spreads",
        Sign::LidSwelling => "Swollen lids",
        Sign::HairLoss => "Lashes or brow hairs lost",
        Sign::SeverePain => "Strong pain",
        Sign::LightHurts => "Light hurts",
        Sign::SightChanged => "Sight blurred or lost",
        Sign::BlisterOrBurn => "Blisters, weeping or a burn",
        Sign::EyeShut => "An eye that won’t open",
        Sign::FaceOrThroatSwelling => "Face, tongue or throat swells",
        Sign::ShortBreath => "Short breath or a tight chest",
        Sign::Collapse => "Collapse",
    }
}

/// A level in words.
pub(super) fn level_words(level: Level) -> &'static str {
    match level {
        Level::Expected => "Expected",
        Level::Mild => "Mild",
        Level::Moderate => "Moderate",
        Level::Serious => "Serious",
        Level::Emergency => "Emergency",
    }
}

/// Why nothing was written, at its field.
pub(super) fn refused_words(refused: Refused) -> Result<Errors, Fault> {
    let (field, said) = match refused {
        Refused::Store(_) | Refused::NotFound => return Err(refused.into()),
        Refused::Future => ("day", "That is still to come.".to_owned()),
        Refused::BeforeTreatment => ("day", "That is before the treatment began.".to_owned()),
        Refused::TooMild(least) => {
            ("level", format!("These signs are at least “{}”.", level_words(least).to_lowercase()))
        }
        Refused::Event(EventRefused::AskFirst) => {
            ("outcome", "Ask her again how it is before it is settled, and note it above.".to_owned())
        }
        Refused::Event(EventRefused::Falls(_)) => ("level", "A level never falls: what was, was.".to_owned()),
        Refused::Event(EventRefused::State { .. }) => {
            ("main", "The report stands otherwise by now, so that can’t be done. Look again below.".to_owned())
        }
    };
    let mut errors = Errors::new();
    errors.add(field, said);
    Ok(errors)
}

/// After what it came.
pub(super) async fn after(c: &mut Connection, reaction: &Reaction, names: &Names) -> Stored<String> {
    if reaction.skin_test.is_some() {
        return Ok("A skin test".to_owned());
    }
    let Some(id) = &reaction.visit else { return Ok("Not after a treatment here".to_owned()) };
    let treatment = treatments::of_visit(c, id).await?;
    let Some(version) = treatment.as_ref().and_then(|treatment| treatment.current()) else {
        let visit = visits::get(c, id).await?;
        return Ok(visit.map_or_else(String::new, |visit| {
            format!("{}, {}, while it was under way", names.service(&visit.service), names.moment(visit.starts_at))
        }));
    };
    Ok({
        let minutes = |what: &str, minutes: Option<u16>| minutes.map(|n| format!("{what} {n} minutes"));
        let steps = [
            minutes("first lotion", version.lotion_one_minutes),
            minutes("second lotion", version.lotion_two_minutes),
            minutes("tint", version.tint_minutes),
        ];
        let steps: Vec<String> = steps.into_iter().flatten().collect();
        let what = format!("{}, {}", names.service(&version.service), names.moment(version.started_at));
        if steps.is_empty() { what } else { format!("{what}: {}", steps.join(", ")) }
    })
}

/// Products with their batches.
pub(super) fn products(reaction: &Reaction, names: &Names) -> Vec<String> {
    reaction.products.iter().map(|(id, batch)| format!("{}, batch {batch}", names.product(id))).collect()
}

/// An entry in words.
pub(super) struct EntryView {
    pub(super) title: String,
    pub(super) facts: Vec<(&'static str, String)>,
    pub(super) written: String,
}

impl EntryView {
    pub(super) fn of(entry: &Entry, names: &Names) -> Self {
        let signs = |signs: &std::collections::BTreeSet<Sign>| {
            signs.iter().map(|sign| sign_words(*sign)).collect::<Vec<_>>().join("; ")
        };
        let (title, facts) = match &entry.body {
            Body::Report { signs: seen, level, rinsed, first_aid, care, note } => (
                "Reported".to_owned(),
                vec![
                    ("Level", level_words(*level).to_owned()),
                    ("Signs", signs(seen)),
                    ("Eye rinsed", rinsed.map(|minutes| format!("{minutes} minutes")).unwrap_or_default()),
                    ("Done and advised", first_aid.clone()),
                    ("Medical care", care.clone()),
                    ("Notes", note.clone()),
                ],
            ),
            Body::FollowUp { signs: seen, level, care, note } => (
                "Asked again".to_owned(),
                vec![
                    ("Level", level_words(*level).to_owned()),
                    ("Signs now", if seen.is_empty() { "None any more".to_owned() } else { signs(seen) }),
                    ("Medical care", care.clone()),
                    ("Notes", note.clone()),
                ],
            ),
            Body::Told { whom, reference } => (format!("Told: {whom}"), vec![("Their reference", reference.clone())]),
            Body::Settled { outcome, corrective } => {
                ("Settled".to_owned(), vec![("Outcome", outcome.clone()), ("Done against it", corrective.clone())])
            }
            Body::Reopened { why } => ("Opened again".to_owned(), vec![("Why", why.clone())]),
        };
        Self {
            title,
            facts: facts.into_iter().filter(|(_, value)| !value.is_empty()).collect(),
            written: format!(
                "{} by {}",
                names.moment(entry.written_at),
                if entry.written_by == "client" { "the client" } else { &entry.written_by }
            ),
        }
    }
}

/// The report as its paper holds it.
pub(super) async fn paper(
    c: &mut Connection,
    studio: &Studio,
    reaction: &Reaction,
    now: OffsetDateTime,
) -> Stored<Option<ReactionPaper>> {
    let Some(person) = clients::get(c, &reaction.client).await? else { return Ok(None) };
    let names = Names::load(c, studio).await?;
    let entries = reaction.entries.iter().map(|entry| {
        let view = EntryView::of(entry, &names);
        (view.title, view.facts, view.written)
    });
    Ok(Some(ReactionPaper {
        id: reaction.id.clone(),
        studio: studio.name.clone(),
        address: studio.address.clone(),
        contact: [studio.phone.clone(), studio.mail.clone()].join("  "),
        client: person.name.as_str().to_owned(),
        born: person.born.date(),
        level: level_words(reaction.level).to_owned(),
        began: names.moment(reaction.began_at),
        after: after(c, reaction, &names).await?,
        products: reaction
            .products
            .iter()
            .map(|(id, batch)| {
                let maker = names.products.iter().find(|one| one.id == *id).map_or("", |one| &one.maker);
                vec![names.product(id).to_owned(), maker.to_owned(), batch.clone()]
            })
            .collect(),
        entries: entries.collect(),
        written: names.moment(now),
        at: now,
    }))
}
