//! `GET` and `POST /owner/consent-text`: the text that clients sign; a new version takes the place of the old one.
//! `GET /owner/consent-text/{version}`: a version as it stood. Templates: `owner/consent_text.html`,
//! `owner/consent_version.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::{Done, done, read};
use crate::actions::consents;
use crate::app::App;
use crate::domain::consent::{ConsentText, Paragraph, Tick, TickText};
use crate::domain::label::Note;
use crate::store::health;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;
use crate::when;

const TEXT_MOST: usize = 20_000;
const TICK_MOST: usize = 600;
const PART_MOST: usize = 2_000;

/// A published version in words.
struct Published {
    version: u32,
    when: String,
    by: String,
    reviewed_by: String,
    reason: String,
}

#[derive(Template)]
#[template(path = "owner/consent_text.html")]
struct TextPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    published: Vec<Published>,
    /// Another version was published meanwhile.
    overtaken: bool,
}

#[derive(Template)]
#[template(path = "owner/consent_version.html")]
struct VersionPage {
    ctx: Ctx,
    text: ConsentText,
}

async fn show(app: &App, ctx: Ctx, fields: Fields, errors: Errors, overtaken: bool) -> Result<TextPage, Fault> {
    let zone = ctx.studio()?.zone.clone();
    let all = health::consent_texts(&mut *app.db.read().await?).await?;
    let published = all.into_iter().map(|(version, at, by)| Published {
        version,
        when: when::moment(zone.to_civil(at)),
        by: if by.name.is_empty() { crate::t("came with the program").to_owned() } else { by.name },
        reviewed_by: by.reviewed_by,
        reason: by.reason,
    });
    Ok(TextPage { ctx, fields, errors, published: published.collect(), overtaken })
}

/// The text as the form holds it: a heading, its words below, an empty line between two.
fn filled(text: &ConsentText) -> Fields {
    let paragraphs = text.paragraphs().iter().map(|one| format!("{}\n{}", one.title, one.text));
    let mut pairs = vec![
        ("base".to_owned(), text.version().to_string()),
        ("words".to_owned(), paragraphs.collect::<Vec<_>>().join("\n\n")),
        ("guardian".to_owned(), text.guardian().to_owned()),
    ];
    pairs.extend(text.ticks().iter().map(|tick| (tick.tick.as_str().to_owned(), tick.text.clone())));
    Fields::of(pairs)
}

/// Shows the text in force.
pub async fn get(State(app): State<App>, ctx: Ctx, Done(said): Done) -> Answer {
    let text = health::in_force(&mut *app.db.read().await?).await?.consent;
    let page = show(&app, ctx.saying(said), filled(&text), Errors::new(), false).await?;
    Ok(Page::ok(page).into_response())
}

/// Shows a version.
pub async fn get_one(State(app): State<App>, ctx: Ctx, Path(version): Path<String>) -> Answer {
    let version: u32 = version.parse().map_err(|_| Fault::NotFound)?;
    let mut c = app.db.read().await?;
    if !health::consent_texts(&mut c).await?.iter().any(|(one, ..)| *one == version) {
        return Err(Fault::NotFound);
    }
    let text = health::consent_text(&mut c, version).await?;
    Ok(Page::ok(VersionPage { ctx, text }).into_response())
}

/// Paragraphs out of the one field.
fn paragraphs(errors: &mut Errors, fields: &Fields) -> Vec<Paragraph> {
    let Some(words) = errors.take("words", Note::parse(fields.get("words"), TEXT_MOST), words::text) else {
        return Vec::new();
    };
    let mut all: Vec<Paragraph> = Vec::new();
    for block in words.as_str().split("\n\n").map(str::trim).filter(|block| !block.is_empty()) {
        let (title, text) = block.split_once('\n').unwrap_or((block, ""));
        if text.trim().is_empty() {
            let heading: String = title.chars().take(60).collect();
            errors.add("words", crate::tf("There are no words below “{heading}”.").with("heading", heading));
        }
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        all.push(Paragraph { title: title.trim().to_owned(), text });
    }
    if all.is_empty() {
        errors.add("words", words::MISSING);
    }
    all
}

/// Publishes what was written.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, fields: Fields) -> Answer {
    let text = health::in_force(&mut *app.db.read().await?).await?.consent;
    let mut errors = Errors::new();
    let paragraphs = paragraphs(&mut errors, &fields);
    let ticks =
        Tick::ALL.map(|tick| TickText { tick, text: read::needed(&mut errors, &fields, tick.as_str(), TICK_MOST) });
    let guardian = read::needed(&mut errors, &fields, "guardian", PART_MOST);
    let reviewed_by = read::label(&mut errors, &fields, "reviewed_by");
    let reason = read::label(&mut errors, &fields, "reason");
    let (Some(reviewed_by), Some(reason), true) = (reviewed_by, reason, errors.is_empty()) else {
        return Ok(Page::refused(show(&app, ctx, fields, errors, false).await?).into_response());
    };
    let Ok(next) = text.next(paragraphs, ticks.to_vec(), guardian) else { return Err(Fault::BadRequest) };
    if next.same_words(&text) {
        errors.add("words", crate::t("Nothing is different from the version in force."));
        return Ok(Page::refused(show(&app, ctx, fields, errors, false).await?).into_response());
    }
    let on_screen = fields.get("base") == text.version().to_string();
    if on_screen && consents::publish(&app, &team.0, &next, &reviewed_by, &reason).await? {
        return Ok(done("/owner/consent-text", "saved"));
    }
    Ok(Page::conflict(show(&app, ctx, fields, errors, true).await?).into_response())
}
