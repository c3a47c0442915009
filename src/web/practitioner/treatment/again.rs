//! The record's form once more: what was typed stays, and what changed while it was filled is said.

use std::collections::BTreeMap;

use axum::response::IntoResponse;

use super::{Chair, TreatmentPage, bottles};
use crate::actions::treating::{RecordRefused, Refused};
use crate::domain::mark::Mark;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::page::{Answer, Ctx, Page};
use crate::web::practitioner::record_view::RecordView;
use crate::web::practitioner::words;
use crate::{t, tf};

impl Chair {
    /// What the form carries of what it shows.
    pub(super) fn carried(&self) -> Result<Vec<(String, String)>, Fault> {
        let was: BTreeMap<_, _> = self.filled.iter().cloned().collect();
        let was = serde_json::to_string(&was).map_err(Fault::internal)?;
        let mut carried = vec![("shown".to_owned(), self.mark.as_str().to_owned()), ("was".to_owned(), was)];
        carried.extend(self.corrects.map(|number| ("corrects".to_owned(), number.to_string())));
        Ok(carried)
    }

    /// What was typed can't be read as a record. What changed meanwhile is said first: it may be what is missing.
    pub(super) fn unread(self, ctx: Ctx, fields: Fields, errors: Errors) -> Answer {
        let corrects = self.corrects.map_or_else(String::new, |number| number.to_string());
        let refusal = if self.corrects.is_none() && self.record.is_some() {
            Some(Refused::Written)
        } else if fields.get("corrects") != corrects {
            Some(Refused::Corrected)
        } else {
            Mark::sent(fields.get("shown")).holds(&self.mark).err().map(Refused::Changed)
        };
        match refusal {
            Some(refusal) => self.refused(ctx, fields, refusal),
            None => Ok(Page::refused(TreatmentPage { ctx, fields, errors, chair: self }).into_response()),
        }
    }

    /// What was typed is not taken. This is the form as it stands by now.
    pub(super) fn refused(mut self, ctx: Ctx, mut fields: Fields, refusal: Refused) -> Answer {
        let mut errors = Errors::new();
        let conflict = !matches!(refusal, Refused::Record(_) | Refused::WantsReason);
        match &refusal {
            Refused::Record(refused) => {
                let (mut field, said) = words::record(refused);
                if let RecordRefused::UnknownBatch(product, number) | RecordRefused::Unfit(product, number, _) = refused
                {
                    field = self.field_of(&fields, product, number).unwrap_or(field);
                }
                errors.add(&field, said);
                if matches!(refused, RecordRefused::Unfit(..)) {
                    errors
                        .add("used_although", t("If it was used all the same, write why: the record has to be true."));
                }
            }
            Refused::WantsReason => errors.add("reason", t("Write down why the record is corrected.")),
            Refused::Changed(_) => {
                errors.add("main", t("Times, bottles or the shield came in from the chair in the meantime. Please look at them again."));
                fields = self.with_what_came(fields, &mut errors)?;
            }
            Refused::Corrected => {
                errors.add("main", t("Somebody corrected this record in the meantime. What stands now is below: compare it with what you typed."));
                let number = self.corrects.map_or_else(String::new, |number| number.to_string());
                fields = fields.with("corrects", number);
                self.show_what_stands();
            }
            Refused::Written => {
                errors.add("main", t(WRITTEN));
                self.show_what_stands();
            }
            _ => {
                let Some((field, said)) = words::stands(&refusal) else { return Err(refusal.into()) };
                errors.add(field, said);
            }
        }
        let page = TreatmentPage { ctx, fields, errors, chair: self };
        Ok(if conflict { Page::conflict(page) } else { Page::refused(page) }.into_response())
    }

    fn show_what_stands(&mut self) {
        let record = self.record.as_ref().map(|record| RecordView::of(record, &self.names));
        self.stands = record.and_then(|record| record.versions.into_iter().next());
    }

    /// What came in from the chair takes the place of what stood there untouched; what was typed stays, and is pointed at
    /// where something else came in.
    fn with_what_came(&self, mut fields: Fields, errors: &mut Errors) -> Result<Fields, Fault> {
        let was: BTreeMap<String, String> = serde_json::from_str(fields.get("was")).unwrap_or_default();
        let now: BTreeMap<&str, &str> =
            self.filled.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
        let names: Vec<&str> = was.keys().map(String::as_str).chain(now.keys().copied()).collect();
        for name in names {
            let (was, now) = (was.get(name).map_or("", String::as_str), now.get(name).copied().unwrap_or_default());
            if fields.get(name) == was {
                fields = fields.with(name, now);
            } else if was != now && fields.get(name) != now {
                let now = bottles::number_of(name, now);
                errors.add(name, tf("At the chair this became “{now}”. Here stands what you typed.").with("now", now));
            }
        }
        for (name, value) in self.carried()?.into_iter().filter(|(name, _)| name != "corrects") {
            fields = fields.with(&name, value);
        }
        Ok(fields)
    }
}

const WRITTEN: &str = crate::msg(
    "This record was written in the meantime, and says something else. It is below: correct it with what you typed here.",
);
