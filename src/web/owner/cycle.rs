//! `GET /owner/services/{id}/cycle`: how the choice of cycle moves the window of a lift. Template: `owner/cycle.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use crate::app::App;
use crate::documents::svg::{Candidate, CandidateRow, compare_rules};
use crate::domain::growth::{CAUTION, CycleName, CycleSet};
use crate::domain::ids::ServiceId;
use crate::domain::window::{GrowthRule, RetouchRule};
use crate::store::catalogue::{self, Service};
use crate::web::error::Fault;
use crate::web::page::{Answer, Ctx, Drawing, Page};
use crate::web::words;

#[derive(Template)]
#[template(path = "owner/cycle.html")]
struct CyclePage {
    ctx: Ctx,
    service: Service,
    /// Nothing for a service that goes by plain days.
    comparison: Option<Comparison>,
    caution: &'static str,
}

struct Comparison {
    drawing: Drawing,
    rows: Vec<CandidateRow>,
    /// Label, mean days, source.
    sources: Vec<(String, String, String)>,
    rule: GrowthRule,
}

impl Comparison {
    /// The rule in use first, then each other set that ships under the same limits and minimum.
    fn of(rule: &GrowthRule) -> Self {
        let used = rule.cycle().name();
        let others = CycleName::SHIPPED.into_iter().filter(|name| *name != used).filter_map(CycleSet::shipped);
        let others = others.filter_map(|set| {
            let label = called(set.name()).to_owned();
            GrowthRule::parse(set, rule.limits(), rule.floor_days()).ok().map(|rule| (label, rule))
        });
        let rules: Vec<(String, GrowthRule)> =
            std::iter::once((crate::tf("{cycle}, in use").with("cycle", called(used)).to_string(), rule.clone()))
                .chain(others)
                .collect();
        let candidates: Vec<Candidate<'_>> = rules.iter().map(|(label, rule)| Candidate { label, rule }).collect();
        let picture = compare_rules("cycles", &candidates);
        let source = |(label, rule): &(String, GrowthRule)| {
            (
                label.clone(),
                words::decimal(&rule.cycle().figures().mean_days.to_string()),
                crate::t(rule.cycle().source()).to_owned(),
            )
        };
        let sources = rules.iter().map(source).collect();
        Self { drawing: Drawing::of(&picture), rows: picture.rows, sources, rule: rule.clone() }
    }

    fn percent(&self) -> [String; 4] {
        let limits = self.rule.limits();
        [limits.two(), limits.three(), limits.due(), limits.lapsed()]
            .map(|share| words::decimal(&format!("{} %", (share.get() * 1e6).round() / 1e4)))
    }
}

/// A set as a line of the table calls it.
fn called(name: CycleName) -> &'static str {
    match name {
        CycleName::Observed => crate::t("observed"),
        CycleName::Textbook => crate::t("textbook"),
        CycleName::Review => crate::t("review"),
        CycleName::Own => crate::tc("the studio’s", "own"),
    }
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(id): Path<String>) -> Answer {
    let id = ServiceId::parse(&id).map_err(|_| Fault::NotFound)?;
    let service = catalogue::service(&mut *app.db.read().await?, &id).await?.ok_or(Fault::NotFound)?;
    let comparison = match &service.retouch {
        RetouchRule::Growth(rule) => Some(Comparison::of(rule)),
        RetouchRule::Interval(_) => None,
    };
    Ok(Page::ok(CyclePage { ctx, service, comparison, caution: CAUTION }).into_response())
}
