//! `GET /face/{stamp}/app.css` and `/face/{stamp}/logo.jpg`: the stylesheet in the studio's colour, and its logo. Both
//! change their address with their content, so a browser keeps them.

use axum::extract::{Path, State};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};

use crate::app::App;
use crate::domain::accent::{Colour, Shades};
use crate::store;
use crate::store::studio::Studio;
use crate::web::assets;
use crate::web::error::Fault;
use crate::web::page::{Answer, Ctx};

const CSS: &str = "app.css";

/// A logo as a page shows it.
#[derive(Debug, Clone)]
pub struct Logo {
    /// Where it is.
    pub href: String,
    /// In pixels.
    pub width: i64,
    /// In pixels.
    pub height: i64,
}

/// The studio's logo, if it has one.
pub(super) fn logo_of(studio: &Studio) -> Option<Logo> {
    let logo = studio.logo.as_ref()?;
    let stamp = logo.sha256.get(..12).unwrap_or_default();
    Some(Logo { href: format!("/face/{stamp}/logo.jpg"), width: logo.width, height: logo.height })
}

/// The address of the stylesheet, one request whatever the colour.
pub(super) fn css_href(studio: Option<&Studio>) -> String {
    match studio.map(|studio| studio.accent).filter(|accent| *accent != Colour::HOUSE) {
        None => assets::href(CSS),
        Some(accent) => format!("/face/{}/{CSS}", stamp(&accent.shades())),
    }
}

fn stamp(shades: &Shades) -> String {
    let colours = [shades.light, shades.dark, shades.night].map(|colour| colour.to_string().replace('#', ""));
    format!("{}-{}", assets::stamp_of(CSS), colours.join("-"))
}

/// What goes before the house's own colours on a screen; paper stays black and white.
fn layer(shades: &Shades) -> String {
    let Shades { light, dark, night } = shades;
    let (soft, on_dark) = (Colour::LID_SOFT, Colour::ON_DARK);
    format!(
        "@layer studio{{@media screen{{:root{{--accent:{light};--lid:{light};--lid-soft:{soft}}}\
         @media (prefers-color-scheme:dark){{:root{{--accent:{dark};--on-accent:{on_dark};--lid:{night};--on-lid:#fff}}}}}}}}\n"
    )
}

/// The stylesheet in the studio's colour. A page that is older than the colour gets the new one.
pub async fn style(ctx: Ctx, Path(asked): Path<String>) -> Answer {
    let shades = ctx.studio()?.accent.shades();
    let css = format!("{}{}", String::from_utf8_lossy(assets::bytes(CSS)), layer(&shades));
    Ok(served("text/css; charset=utf-8", css.into_bytes(), asked == stamp(&shades)))
}

/// The logo.
pub async fn logo(State(app): State<App>, ctx: Ctx, Path(asked): Path<String>) -> Answer {
    let known = ctx.studio()?.logo.as_ref().ok_or(Fault::NotFound)?.sha256.clone();
    let body = store::studio::logo(&mut *app.db.read().await?).await?.ok_or(Fault::NotFound)?;
    Ok(served("image/jpeg", body, known.get(..12) == Some(asked.as_str())))
}

fn served(kind: &'static str, body: Vec<u8>, current: bool) -> Response {
    let keep = if current { assets::FOREVER } else { "no-store" };
    let headers = [(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, keep)];
    (headers.map(|(name, value)| (name, HeaderValue::from_static(value))), body).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_layer_names_each_shade_where_it_is_shown() {
        let shades = Colour([0xf4, 0xa6, 0xc8]).shades();
        let layer = layer(&shades);
        let (light, dark) = layer.split_once("@media (prefers-color-scheme:dark)").unwrap_or_default();
        assert!(
            light.contains(&format!("--accent:{}", shades.light)) && dark.contains(&format!("--lid:{}", shades.night))
        );
        assert_eq!(layer.matches('{').count(), layer.matches('}').count());
    }
}
