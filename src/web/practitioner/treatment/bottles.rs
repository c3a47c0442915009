//! The bottles in the record's form: of each product one in a field of its own, and further ones below, since a bottle may
//! run out and be followed by one of another batch.

use std::collections::BTreeSet;

use super::{Chair, Offered};
use crate::domain::ids::ProductId;
use crate::t;
use crate::web::form::{Errors, Fields};
use crate::web::practitioner::words;
use crate::web::words::CHOOSE;

const FURTHER: &str = "further_";

fn value(product: &ProductId, number: &str) -> String {
    format!("{product}.{number}")
}

/// What fields are filled with from bottles.
pub(super) fn filled(bottles: &[(ProductId, String)]) -> Vec<(String, String)> {
    let mut known = BTreeSet::new();
    let (own, further): (Vec<_>, Vec<_>) = bottles.iter().partition(|(product, _)| known.insert(product));
    let own = own.into_iter().map(|(product, number)| (format!("batch_{product}"), number.clone()));
    let further = further.into_iter().enumerate();
    own.chain(further.map(|(at, (product, number))| (format!("{FURTHER}{at}"), value(product, number)))).collect()
}

/// The fields of further bottles: one more than are filled.
pub(super) fn further(filled: &[(String, String)]) -> Vec<String> {
    let there = filled.iter().filter(|(field, _)| field.starts_with(FURTHER)).count();
    (0..=there).map(|at| format!("{FURTHER}{at}")).collect()
}

/// What can be chosen there: the batches of products that have several.
pub(super) fn choices(products: &[Offered]) -> Vec<(String, String)> {
    let several = products.iter().filter(|product| product.batches.len() > 1);
    let each = several.flat_map(|product| product.batches.iter().map(move |batch| (product, batch)));
    each.map(|(product, (number, words))| (value(&product.id, number), words::bottle(&product.name, words))).collect()
}

/// The number of a bottle as a field has it.
pub(super) fn number_of<'a>(field: &str, value: &'a str) -> &'a str {
    value.split_once('.').filter(|_| field.starts_with(FURTHER)).map_or(value, |(_, number)| number)
}

impl Chair {
    /// Reads all of them.
    pub(super) fn bottles(&self, fields: &Fields, errors: &mut Errors) -> Vec<(ProductId, String)> {
        let own = self.products.iter().map(|product| (product.id.clone(), fields.trimmed(&product.field).to_owned()));
        let mut all: Vec<_> = own.filter(|(_, number)| !number.is_empty()).collect();
        for field in self.further.0.iter().filter(|field| !fields.trimmed(field).is_empty()) {
            let chosen = fields.trimmed(field).split_once('.');
            let product = chosen.and_then(|(id, _)| self.products.iter().find(|product| product.id.as_str() == id));
            match product.zip(chosen) {
                Some((product, (_, number))) => all.push((product.id.clone(), number.to_owned())),
                None => errors.add(field, t(CHOOSE)),
            }
        }
        all
    }

    /// The field of a further bottle.
    pub(super) fn field_of(&self, fields: &Fields, product: &ProductId, number: &str) -> Option<String> {
        let wanted = value(product, number);
        self.further.0.iter().find(|field| fields.trimmed(field) == wanted).cloned()
    }
}
