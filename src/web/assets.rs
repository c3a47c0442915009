//! Styles, scripts and pictures, inside the binary, under names that change with their content.

use axum::extract::Path;
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};

use crate::web::error::Fault;

struct Asset {
    name: &'static str,
    kind: &'static str,
    bytes: &'static [u8],
}

macro_rules! assets {
    ($($name:literal as $kind:literal),+ $(,)?) => {
        &[$(Asset { name: $name, kind: $kind, bytes: include_bytes!(concat!("../../static/", $name)) }),+]
    };
}

static ASSETS: &[Asset] = assets![
    "app.css" as "text/css; charset=utf-8",
    "app.js" as "text/javascript; charset=utf-8",
    "chair.js" as "text/javascript; charset=utf-8",
    "chair-worker.js" as "text/javascript; charset=utf-8",
    "passkey.js" as "text/javascript; charset=utf-8",
    "scan.js" as "text/javascript; charset=utf-8",
    "icon.svg" as "image/svg+xml",
    "icon-180.png" as "image/png",
    "site.webmanifest" as "application/manifest+json",
];

fn stamp(asset: &Asset) -> String {
    let digest = data_encoding::HEXLOWER.encode(&Sha256::digest(asset.bytes));
    digest.chars().take(12).collect()
}

/// How a browser keeps what changes its address with its content.
pub(super) const FOREVER: &str = "public, max-age=31536000, immutable";

fn named(name: &str) -> Option<&'static Asset> {
    ASSETS.iter().find(|asset| asset.name == name)
}

/// What an asset holds.
pub(super) fn bytes(name: &str) -> &'static [u8] {
    named(name).map(|asset| asset.bytes).unwrap_or_default()
}

/// The stamp of an asset's content.
pub(super) fn stamp_of(name: &str) -> String {
    named(name).map(stamp).unwrap_or_default()
}

/// The address of an asset, with a stamp of its content.
pub fn href(name: &str) -> String {
    format!("/static/{}/{name}", stamp_of(name))
}

/// `GET /static/{name}`: under a name that others keep, so it may be old for a day.
pub async fn plain(Path(name): Path<String>) -> Result<Response, Fault> {
    let asset = named(&name).ok_or(Fault::NotFound)?;
    Ok(served(asset, "public, max-age=86400"))
}

fn served(asset: &Asset, keep: &'static str) -> Response {
    let mut response = asset.bytes.into_response();
    response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static(asset.kind));
    response.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static(keep));
    // A worker's own folder is that of the assets, so it says itself which pages it may answer for.
    let scope = match asset.name {
        "app.js" => Some("/"),
        "chair-worker.js" => Some("/desk/visits/"),
        _ => None,
    };
    if let Some(scope) = scope {
        response.headers_mut().insert("service-worker-allowed", HeaderValue::from_static(scope));
    }
    response
}

/// `GET /static/{stamp}/{name}`
pub async fn get(Path((stamped, name)): Path<(String, String)>) -> Result<Response, Fault> {
    let asset = named(&name).ok_or(Fault::NotFound)?;
    if stamp(asset) != stamped {
        return Err(Fault::NotFound);
    }
    Ok(served(asset, FOREVER))
}
