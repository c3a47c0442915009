//! `GET /styleguide`: every part that pages are made of, in every state; only where all is invented anyway.
//! With `?refused=1` the form shows how a refusal looks. Template: `public/styleguide.html`.

use askama::Template;
use axum::extract::Query;
use axum::response::IntoResponse;
use serde::Deserialize;

use crate::web::error::Fault;
use crate::web::form::Errors;
use crate::web::page::{Answer, Ctx, Page};

#[derive(Template)]
#[template(path = "public/styleguide.html")]
struct StyleGuide {
    ctx: Ctx,
    refused: bool,
    errors: Errors,
    name: &'static str,
}

/// Which of its two states.
#[derive(Deserialize)]
pub struct Ask {
    refused: Option<String>,
}

const REFUSALS: [(&str, &str); 7] = [
    ("name", "Enter your name"),
    ("email", "Enter an e-mail address like mia@example.org"),
    ("birth", "Enter a date like 27 3 1990: there is no month 13"),
    ("shield", "Choose a shield size"),
    ("skin", "Say how the skin looked"),
    ("lenses", "Answer yes, no or not sure"),
    ("consent", "Tick the box if you agree; without it we can't treat you"),
];

/// Shows the parts.
pub async fn get(ctx: Ctx, Query(ask): Query<Ask>) -> Answer {
    if !ctx.demo {
        return Err(Fault::NotFound);
    }
    let refused = ask.refused.is_some();
    let mut errors = Errors::default();
    for (field, words) in REFUSALS.into_iter().filter(|_| refused) {
        errors.add(field, words);
    }
    let ctx = ctx.saying(Some("Saved."));
    Ok(Page::ok(StyleGuide { ctx, refused, errors, name: "<b>Mia</b> \"quoted\"" }).into_response())
}
