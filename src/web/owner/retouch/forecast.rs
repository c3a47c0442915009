//! `GET /owner/retouch/forecast`: how many windows open in the coming weeks, against the hours that are open.
//! Template: `owner/forecast.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use crate::actions::{forecast, retouch};
use crate::app::App;
use crate::documents::svg::{WeekBar, openings};
use crate::web::page::{Answer, Ctx, Drawing, Page};
use crate::web::words;

#[derive(Template)]
#[template(path = "owner/forecast.html")]
struct ForecastPage {
    ctx: Ctx,
    drawing: Drawing,
    weeks: Vec<WeekBar>,
    windows: u32,
}

impl ForecastPage {
    /// Hours with one decimal place: `12.5`.
    fn hours(&self, minutes: &u32) -> String {
        words::decimal(&format!("{:.1}", f64::from(*minutes) / 60.0))
    }
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx) -> Answer {
    retouch::freshen(&app.db).await?;
    let weeks = forecast::load(&mut *app.db.read().await?, ctx.studio()?, app.clock.now()).await?;
    let bar = |week: forecast::Week| WeekBar {
        monday: week.monday,
        windows: week.windows,
        booked: week.booked,
        wanted_minutes: week.wanted_minutes,
        open_minutes: week.open_minutes,
    };
    let picture = openings("forecast", &weeks.into_iter().map(bar).collect::<Vec<_>>());
    let windows = picture.rows.iter().map(|week| week.windows).sum();
    Ok(Page::ok(ForecastPage { ctx, drawing: Drawing::of(&picture), weeks: picture.rows, windows }).into_response())
}
