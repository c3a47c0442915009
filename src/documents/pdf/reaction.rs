//! A reaction report on paper: for the doctor, the supplier or the insurer.

use time::{Date, OffsetDateTime};

use super::flow::Flow;
use super::style::{BODY, SMALL};
use crate::domain::ids::ReactionId;
use crate::domain::reaction::RINSE_MINUTES;
use crate::{t, tc, tf};

/// What an entry says: its title, its facts, and who wrote it when.
pub type PaperEntry = (String, Vec<(&'static str, String)>, String);

/// A report in words.
pub struct ReactionPaper {
    /// Its id.
    pub id: ReactionId,
    /// The studio's name.
    pub studio: String,
    /// The studio's address.
    pub address: String,
    /// Its phone and mail.
    pub contact: String,
    /// The client's name.
    pub client: String,
    /// Her date of birth.
    pub born: Date,
    /// How grave it is.
    pub level: String,
    /// When it began.
    pub began: String,
    /// After what, with the minutes of each step.
    pub after: String,
    /// Product, maker and batch.
    pub products: Vec<Vec<String>>,
    /// What was written to it, oldest first.
    pub entries: Vec<PaperEntry>,
    /// When the paper was written, in words.
    pub written: String,
    /// The same, as an instant.
    pub at: OffsetDateTime,
}

pub(super) fn write(flow: &mut Flow<'_>, paper: &ReactionPaper) {
    let address = paper.address.lines().collect::<Vec<_>>().join(", ");
    flow.para(&format!("{}  ·  {address}  ·  {}", paper.studio, paper.contact), SMALL);
    flow.gap(14.0);
    flow.heading(1, t("Reaction report"));
    flow.facts(
        t("The reaction"),
        &[
            (t("Client"), paper.client.clone()),
            (t("Date of birth"), paper.born.to_string()),
            (tc("a paper", "Level"), paper.level.clone()),
            (tc("a paper", "Began"), paper.began.clone()),
            (tc("a paper", "After"), paper.after.clone()),
            (tc("a paper", "Report"), paper.id.to_string()),
            (tc("a paper", "Written"), paper.written.clone()),
        ],
    );
    flow.gap(4.0);
    let caution = tf(
        "Product in the eye: rinse at once with clean water, for at least {minutes} minutes, then urgent medical care. \
         Safety data sheets of the products come from their makers. This is what the studio saw and was told; it is no \
         diagnosis.",
    );
    flow.panel(&caution.with("minutes", RINSE_MINUTES).to_string());
    flow.heading(2, t("Products and batches"));
    if paper.products.is_empty() {
        flow.para(t("None recorded."), BODY);
    } else {
        flow.table(
            t("Products and batches"),
            &[t("Product"), t("Maker"), t("Batch")],
            &[1.5, 1.2, 1.0],
            &paper.products,
        );
    }
    flow.heading(2, t("What was seen, done and said"));
    for (title, facts, written) in &paper.entries {
        flow.heading(3, title);
        flow.facts(title, facts);
        flow.para(written, SMALL);
    }
}
