//! The README's pictures, taken anew from the demo.

use std::fs;
use std::path::Path;

use data_encoding::BASE64;
use serde_json::json;

use crate::support::{Browser, Server};

const NOW: &str = "2026-03-02T09:40:00Z";
/// Screens of phones beside each other.
const PHONES: usize = 4;
const HEIGHT: u32 = 900;

#[tokio::test]
#[ignore = "writes pictures: tests/run --pictures"]
async fn pictures_for_the_readme() {
    let server = Server::demo(NOW).await;
    let browser = Browser::new().await;
    browser.devtools("Emulation.setScrollbarsHidden", json!({ "hidden": true })).await;
    day(&server, &browser).await;
    booking(&server, &browser).await;
    browser.close().await;
}

fn keep(name: &str, picture: &str) {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("static/readme").join(name);
    fs::write(file, BASE64.decode(picture.as_bytes()).unwrap()).unwrap();
}

async fn day(server: &Server, browser: &Browser) {
    browser.set_width(1280).await;
    let sign_in = server.sign_in("practitioner");
    browser.open(&server.url("/team/sign-in")).await;
    browser.fill("Mail", &sign_in.mail).await;
    browser.fill("Password", &sign_in.password).await;
    browser.press("Sign in").await;
    keep("day.png", &browser.capture(json!({ "format": "png" })).await);
}

async fn booking(server: &Server, browser: &Browser) {
    let screen = async || browser.capture(json!({ "format": "png" })).await;
    browser.set_width(320).await;
    browser.open(&server.url("/")).await;
    let mut screens = vec![screen().await];
    browser.click(&browser.first("a.pick", "Lash lift and tint").await.unwrap()).await;
    screens.push(screen().await);
    browser.click(&browser.first("button.slot", "").await.unwrap()).await;
    browser.click(&browser.first("button.slot", "").await.unwrap()).await;
    for (label, value) in [
        ("Your name", "Ottilie Farnborg"),
        ("Your mail", "ottilie@example.org"),
        ("Your phone", "020 555 0177"),
        ("Day", "3"),
        ("Month", "7"),
        ("Year", "1988"),
    ] {
        browser.fill(label, value).await;
    }
    browser.press("Go on to the health questions").await;
    screens.push(screen().await);
    while browser.first("button", "No to everything").await.is_some() {
        browser.press("No to everything that I left open").await;
    }
    screens.push(screen().await);
    assert_eq!(screens.len(), PHONES);
    let row = screens.iter().map(|screen| format!("<img src='data:image/png;base64,{screen}'>")).collect::<String>();
    browser.open("about:blank").await;
    browser
        .client
        .execute("document.body.innerHTML = arguments[0]", vec![json!(format!("<div>{row}</div>"))])
        .await
        .unwrap();
    let layout = "document.body.style = 'margin:0;background:#888'; document.querySelector('div').style = 'display:flex;gap:12px';
        return Promise.all([...document.images].map(image => image.decode()))";
    browser.client.execute(layout, vec![]).await.unwrap();
    let clip = json!({ "x": 0, "y": 0, "width": PHONES * 320 + (PHONES - 1) * 12, "height": HEIGHT, "scale": 1 });
    let picture = browser.capture(json!({ "format": "png", "captureBeyondViewport": true, "clip": clip })).await;
    keep("booking.png", &picture);
}
