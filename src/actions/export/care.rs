//! Reactions and letters, as the plain values of an export.

use super::collect::Collector;
use super::words::{self, said, writer};
use crate::documents::record::{Attached, Letter, ProductUse, Reaction};
use crate::domain::ids::ClientId;
use crate::domain::questionnaire::Questionnaire;
use crate::domain::reaction::Sign;
use crate::store::files::{self, StoredFile};
use crate::store::letters::{self, StoredLetter};
use crate::store::reactions::{self, Body};
use crate::store::{Connection, Stored, health};
use crate::{tf, tn};

impl Collector {
    pub(super) async fn reactions(&self, c: &mut Connection, id: &ClientId) -> Stored<Vec<Reaction>> {
        let mut found = Vec::new();
        for reaction in reactions::of_client(c, id).await?.into_iter().rev() {
            found.push(self.reaction(reaction));
        }
        Ok(found)
    }

    fn reaction(&self, reaction: reactions::Reaction) -> Reaction {
        let (mut signs, mut actions, mut outcome, mut closed) = (Vec::new(), Vec::new(), None, None);
        let at = |entry: &reactions::Entry| {
            format!("{}, {}", self.moment(entry.written_at).local.date(), writer(&entry.written_by))
        };
        for entry in &reaction.entries {
            match &entry.body {
                Body::Report { signs: seen, lasted, level, rinsed, first_aid, care, note } => {
                    // Where a follow-up was graver, how grave it was at first is said too.
                    let first = if *level == reaction.level { "" } else { words::level(*level) };
                    let parts = [first.to_owned(), listed(seen.iter())];
                    signs.push(parts.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(": "));
                    signs.extend(lasted.map(|one| words::lasted(one).to_owned()));
                    actions.extend(rinsed.map(|minutes| {
                        tn("Eye rinsed for {n} minutes", "Eye rinsed for {n} minutes", minutes).to_string()
                    }));
                    actions.extend([first_aid, care, note].into_iter().filter_map(|text| said(text)));
                }
                Body::FollowUp { signs: seen, level, care, note } => {
                    signs.push(format!("{}, {}: {}", at(entry), words::level(*level), listed(seen.iter())));
                    actions.extend(
                        [care, note]
                            .into_iter()
                            .filter_map(|text| said(text))
                            .map(|text| format!("{}: {text}", at(entry))),
                    );
                }
                Body::Told { whom, reference } => {
                    let told = tf("{day}: told {whom} {reference}").with("day", at(entry)).with("whom", whom);
                    actions.push(told.with("reference", reference).to_string());
                }
                Body::Settled { outcome: ended, corrective } => {
                    outcome = Some(ended.clone());
                    closed = Some(self.moment(entry.written_at));
                    actions.push(format!("{}: {corrective}", at(entry)));
                }
                Body::Reopened { why } => {
                    (outcome, closed) = (None, None);
                    let again = tf("{day}: opened again: {why}").with("day", at(entry));
                    actions.push(again.with("why", why).to_string());
                }
            }
        }
        signs.retain(|line| !line.is_empty());
        let products = reaction.products.iter().map(|(product, batch)| ProductUse {
            step: String::new(),
            product: self.products.get(product).map(|product| product.name.clone()).unwrap_or_default(),
            batch: Some(batch.clone()),
            expires: self.batches.get(&(product.clone(), batch.clone())).copied().flatten(),
        });
        Reaction {
            visit: reaction.visit.clone(),
            reported_at: self.moment(reaction.reported_at),
            reported_by: reaction.entries.first().map(|entry| writer(&entry.written_by)).unwrap_or_default(),
            began: Some(self.moment(reaction.began_at).local.to_string()),
            severity: words::level(reaction.level).to_owned(),
            signs: signs.join("\n"),
            action: actions.join("\n"),
            products: products.collect(),
            outcome,
            closed_at: closed,
        }
    }

    pub(super) async fn letters(&self, c: &mut Connection, id: &ClientId) -> Stored<Vec<Letter>> {
        let all = letters::of_client(c, id).await?;
        if all.is_empty() {
            return Ok(Vec::new());
        }
        let questions = health::in_force(c).await?.questionnaire;
        Ok(all.into_iter().rev().map(|stored| self.letter(&questions, stored)).collect())
    }

    pub(super) async fn attached(&self, c: &mut Connection, id: &ClientId) -> Stored<Vec<Attached>> {
        let all = files::of_client(c, id).await?;
        let attached = all.into_iter().map(|file| Attached {
            name: name_beside(&file),
            purpose: file.purpose.as_str().to_owned(),
            sha256: file.sha256.to_string(),
            added_at: self.moment(file.added_at),
            added_by: writer(&file.added_by),
            about: file.about,
        });
        Ok(attached.collect())
    }

    fn letter(&self, questions: &Questionnaire, stored: StoredLetter) -> Letter {
        let letter = &stored.letter;
        let asked = |key: &String| questions.question(key).map_or_else(|| key.clone(), |asked| asked.text.clone());
        let allows: Vec<&str> = letter.services().iter().map(|kind| words::kind(*kind)).collect();
        let says = match (&stored.set_aside, &stored.read) {
            (Some((by, _, why)), _) => {
                tf("allows {services}; set aside by {by}: {why}; file SHA-256 {file}").with("by", by).with("why", why)
            }
            (None, Some((by, _))) => tf("allows {services}; read by {by}; file SHA-256 {file}").with("by", by),
            (None, None) => tf("allows {services}; not read yet; file SHA-256 {file}"),
        };
        Letter {
            id: letter.id().clone(),
            from: letter.clinician().to_owned(),
            about: letter.questions().iter().map(asked).collect::<Vec<_>>().join("; "),
            says: says.with("services", allows.join(", ")).with("file", letter.file()).to_string(),
            dated: letter.dated(),
            valid_until: Some(letter.expires()),
            recorded_at: self.moment(stored.added_at),
            recorded_by: writer(&stored.added_by),
        }
    }
}

/// The name of a file in its client's folder.
pub(super) fn name_beside(file: &StoredFile) -> String {
    format!("files/{}-{}.{}", file.purpose.as_str(), file.id, file.kind.as_str())
}

fn listed<'a>(signs: impl Iterator<Item = &'a Sign>) -> String {
    signs.map(|sign| words::sign(*sign)).collect::<Vec<_>>().join(", ")
}
