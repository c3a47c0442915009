//! A reaction report in words, on the page and on paper.

use time::OffsetDateTime;

use super::view::Names;
use super::words;
use crate::actions::reactions::Refused;
use crate::documents::pdf::ReactionPaper;
use crate::domain::reaction::{EventRefused, Lasted, Level, Sign};
use crate::store::reactions::{Body, Entry, Reaction};
use crate::store::studio::Studio;
use crate::store::{Connection, Stored, clients, treatments, visits};
use crate::web::error::Fault;
use crate::web::form::Errors;
use crate::{t, tc, tf, tn};

/// A sign in words.
pub(super) fn sign_words(sign: Sign) -> &'static str {
    match sign {
        Sign::BriefWatering => t("Watering or mild pink for less than two hours"),
        Sign::Itch => t("Itch"),
        Sign::Redness => t("Redness without swelling"),
        Sign::SpreadingRash => t("A rash that spreads"),
        Sign::LidSwelling => t("Swollen lids"),
        Sign::HairLoss => t("Lashes or brow hairs lost"),
        Sign::SeverePain => t("Strong pain"),
        Sign::LightHurts => t("Light hurts"),
        Sign::SightChanged => t("Sight blurred or lost"),
        Sign::BlisterOrBurn => t("Blisters, weeping or a burn"),
        Sign::EyeShut => t("An eye that won’t open"),
        Sign::FaceOrThroatSwelling => t("Face, tongue or throat swells"),
        Sign::ShortBreath => t("Short breath or a tight chest"),
        Sign::Collapse => t("Collapse"),
    }
}

/// How long it lasted, in words.
pub(super) fn lasted_words(lasted: Lasted) -> &'static str {
    match lasted {
        Lasted::Still => t("Yes, it is still there"),
        Lasted::TwoHours => t("No, it was gone within two hours"),
        Lasted::TwoDays => t("No, it was gone within 48 hours"),
        Lasted::Longer => t("No, but it lasted longer than 48 hours"),
    }
}

/// A level in words.
pub(super) fn level_words(level: Level) -> &'static str {
    match level {
        Level::Expected => t("Expected"),
        Level::Mild => t("Mild"),
        Level::Moderate => t("Moderate"),
        Level::Serious => t("Serious"),
        Level::Emergency => t("Emergency"),
    }
}

/// A level within a line.
pub(super) fn level_within(level: Level) -> &'static str {
    match level {
        Level::Expected => t("expected"),
        Level::Mild => t("mild"),
        Level::Moderate => t("moderate"),
        Level::Serious => t("serious"),
        Level::Emergency => t("emergency"),
    }
}

/// Why nothing was written, at its field.
pub(super) fn refused_words(refused: Refused) -> Result<Errors, Fault> {
    let (field, said) = match refused {
        Refused::Store(_) | Refused::NotFound => return Err(refused.into()),
        Refused::Future => ("day", t("That is still to come.").to_owned()),
        Refused::BeforeTreatment => ("day", t("That is before the treatment began.").to_owned()),
        Refused::TooMild(least) => {
            ("level", tf("These signs are at least “{level}”.").with("level", level_within(least)).to_string())
        }
        Refused::Event(EventRefused::AskFirst) => {
            ("outcome", t("Ask her again how it is before it is settled, and note it above.").to_owned())
        }
        Refused::Event(EventRefused::Falls(_)) => ("level", t("A level never falls: what was, was.").to_owned()),
        Refused::Event(EventRefused::State { .. }) => {
            ("main", t("The report stands otherwise by now, so that can’t be done. Look again below.").to_owned())
        }
    };
    let mut errors = Errors::new();
    errors.add(field, said);
    Ok(errors)
}

/// After what it came.
pub(super) async fn after(c: &mut Connection, reaction: &Reaction, names: &Names) -> Stored<String> {
    if reaction.skin_test.is_some() {
        return Ok(t("A skin test").to_owned());
    }
    let Some(id) = &reaction.visit else { return Ok(t("Not after a treatment here").to_owned()) };
    let treatment = treatments::of_visit(c, id).await?;
    let Some(version) = treatment.as_ref().and_then(|treatment| treatment.current()) else {
        let visit = visits::get(c, id).await?;
        return Ok(visit.map_or_else(String::new, |visit| {
            tf("{service}, {when}, while it was under way")
                .with("service", names.service(&visit.service))
                .with("when", names.moment(visit.starts_at))
                .to_string()
        }));
    };
    Ok({
        let one = |n| tn("first lotion {n} minute", "first lotion {n} minutes", n);
        let two = |n| tn("second lotion {n} minute", "second lotion {n} minutes", n);
        let tint = |n| tn("tint {n} minute", "tint {n} minutes", n);
        let steps =
            [version.lotion_one_minutes.map(one), version.lotion_two_minutes.map(two), version.tint_minutes.map(tint)];
        let steps: Vec<String> = steps.into_iter().flatten().map(String::from).collect();
        let what = format!("{}, {}", names.service(&version.service), names.moment(version.started_at));
        if steps.is_empty() { what } else { format!("{what}: {}", steps.join(", ")) }
    })
}

/// Products with their batches.
pub(super) fn products(reaction: &Reaction, names: &Names) -> Vec<String> {
    reaction.products.iter().map(|(id, batch)| words::bottle(names.product(id), batch)).collect()
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
            Body::Report { signs: seen, lasted, level, rinsed, first_aid, care, note } => (
                t("Reported").to_owned(),
                vec![
                    (t("Level"), level_words(*level).to_owned()),
                    (t("Signs"), signs(seen)),
                    (t("Still there"), lasted.map(|one| lasted_words(one).to_owned()).unwrap_or_default()),
                    (
                        t("Eye rinsed"),
                        rinsed.map(|minutes| tn("{n} minute", "{n} minutes", minutes).to_string()).unwrap_or_default(),
                    ),
                    (t("Done and advised"), first_aid.clone()),
                    (t("Medical care"), care.clone()),
                    (t("Notes"), note.clone()),
                ],
            ),
            Body::FollowUp { signs: seen, level, care, note } => (
                t("Asked again").to_owned(),
                vec![
                    (t("Level"), level_words(*level).to_owned()),
                    (t("Signs now"), if seen.is_empty() { t("None any more").to_owned() } else { signs(seen) }),
                    (t("Medical care"), care.clone()),
                    (t("Notes"), note.clone()),
                ],
            ),
            Body::Told { whom, reference } => {
                (tf("Told: {whom}").with("whom", whom).to_string(), vec![(t("Their reference"), reference.clone())])
            }
            Body::Settled { outcome, corrective } => (
                t("Settled").to_owned(),
                vec![(t("Outcome"), outcome.clone()), (t("Done against it"), corrective.clone())],
            ),
            Body::Reopened { why } => (t("Opened again").to_owned(), vec![(t("Why"), why.clone())]),
        };
        Self {
            title,
            facts: facts.into_iter().filter(|(_, value)| !value.is_empty()).collect(),
            written: words::noted(
                names.moment(entry.written_at),
                if entry.written_by == "client" { tc("by whom", "the client") } else { &entry.written_by },
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
