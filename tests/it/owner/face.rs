//! The studio's own colour and logo.

use std::io::Cursor;

use image::{DynamicImage, ImageFormat, ImageReader, Rgb, RgbImage};
use palpebra::documents::upload::MOST_LOGO_BYTES;
use reqwest::Response;

use super::Desk;
use crate::documents::upload::{jpeg, pdf, with_exif};
use crate::support::Html;

const PATH: &str = "/owner/studio";
const LOGO: &str = "/owner/studio/logo";
/// Too pale for words on paper.
const PALE: &str = "#f4a6c8";

/// A picture that no JPEG makes small.
fn noise(width: u32, height: u32) -> Vec<u8> {
    let mut seed = 7_u32;
    let picture = RgbImage::from_fn(width, height, |_, _| {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let [a, b, c, _] = seed.to_be_bytes();
        Rgb([a, b, c])
    });
    let mut out = Cursor::new(Vec::new());
    DynamicImage::ImageRgb8(picture).write_to(&mut out, ImageFormat::Png).unwrap();
    out.into_inner()
}

impl Desk {
    async fn sends(&self, file: Option<&[u8]>) -> Html {
        let page = self.owner.get(PATH).await;
        self.owner.send(&page, LOGO, &[], file).await
    }

    async fn start(&self) -> Html {
        self.app.visitor().get("/").await
    }

    async fn fetch(&self, path: &str) -> Response {
        reqwest::get(format!("{}{path}", self.app.url)).await.unwrap().error_for_status().unwrap()
    }
}

fn kept(answer: &Response) -> &str {
    answer.headers()["cache-control"].to_str().unwrap()
}

#[tokio::test]
async fn clients_see_the_colour_in_one_stylesheet_that_is_kept() {
    let desk = Desk::new().await;
    let house = desk.start().await.attributes("link[rel=stylesheet]", "href");
    assert!(house[0].starts_with("/static/"), "{house:?}");
    desk.fill(PATH, PATH, &[("accent", PALE)]).await;
    let own = desk.start().await.attributes("link[rel=stylesheet]", "href");
    assert_eq!(own.len(), 1, "no further request");
    let answer = desk.fetch(&own[0]).await;
    assert!(kept(&answer).contains("immutable"));
    let css = answer.text().await.unwrap();
    assert!(css.contains("@layer studio{") && css.contains(&format!("--accent:{PALE}")), "bright enough for the dark");
    desk.fill(PATH, PATH, &[("accent", "#204080")]).await;
    let next = desk.start().await.attributes("link[rel=stylesheet]", "href");
    assert_ne!(next, own);
    assert_eq!(kept(&desk.fetch(&own[0]).await), "no-store", "an old page gets the new colour, and keeps nothing");
    desk.fill(PATH, PATH, &[("accent", "#1f5646")]).await;
    assert_eq!(desk.start().await.attributes("link[rel=stylesheet]", "href"), house);
    for wrong in ["red", "#12345", "#1f5646;}body{display:none"] {
        desk.refuse(PATH, PATH, &[("accent", wrong)], "accent").await;
    }
}

#[tokio::test]
async fn a_logo_is_made_small_and_stands_on_each_page() {
    let desk = Desk::new().await;
    for file in [with_exif(&jpeg(), 6), noise(3000, 200), noise(2, 900)] {
        assert_eq!(desk.sends(Some(&file)).await.status, 303);
        let page = desk.start().await;
        let (src, icon) = (page.attributes(".home img", "src"), page.attributes("link[rel=icon]", "href"));
        assert_eq!(src, icon, "one request for both");
        let answer = desk.fetch(&src[0]).await;
        assert!(kept(&answer).contains("immutable"));
        assert_eq!(answer.headers()["content-type"], "image/jpeg");
        let body = answer.bytes().await.unwrap();
        assert!(body.len() <= MOST_LOGO_BYTES && !body.windows(4).any(|part| part == b"Exif"), "{}", body.len());
        let drawn = ImageReader::with_format(Cursor::new(&body), ImageFormat::Jpeg).decode().unwrap();
        let told = ["width", "height"].map(|side| page.attributes(".home img", side)[0].parse::<u32>().unwrap());
        assert_eq!(told, [drawn.width(), drawn.height()], "nothing moves when it comes");
    }
    let page = desk.owner.get(PATH).await;
    assert_eq!(desk.owner.submit(&page, "/owner/studio/logo/remove", &[]).await.status, 303);
    assert!(desk.start().await.attributes(".home img", "src").is_empty());
    assert_eq!(desk.app.visitor().get("/face/aaaaaaaaaaaa/logo.jpg").await.status, 404);
}

#[tokio::test]
async fn what_is_no_picture_is_refused_with_a_reason_and_the_logo_stays() {
    let desk = Desk::new().await;
    desk.sends(Some(&jpeg())).await;
    let before = desk.start().await.attributes(".home img", "src");
    let svg = b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>";
    for (file, words) in [
        (Some(svg.as_slice()), "an SVG can hold scripts"),
        (Some(pdf("/Pages 3 0 R", "").as_slice()), "This is no JPEG, PNG or WebP picture"),
        (None, "Choose a picture"),
    ] {
        let page = desk.sends(file).await;
        assert_eq!(page.status, 422);
        assert!(page.all(".error")[0].contains(words), "{:?}", page.all(".error"));
        assert_eq!(page.attributes(".summary a", "href"), ["#file"]);
    }
    assert_eq!(desk.start().await.attributes(".home img", "src"), before);
}

#[tokio::test]
async fn with_colour_and_logo_a_page_is_still_four_requests_and_sixty_kilobytes() {
    let desk = Desk::new().await;
    desk.fill(PATH, PATH, &[("accent", PALE)]).await;
    desk.sends(Some(&noise(900, 300))).await;
    let page = desk.start().await;
    let mut asked = page.attributes("link[href]", "href");
    asked.extend(page.attributes("[src]", "src"));
    asked.sort();
    asked.dedup();
    assert_eq!(asked.len(), 3, "{asked:?}");
    let mut bytes = page.source().len();
    for path in &asked {
        bytes += desk.fetch(path).await.bytes().await.unwrap().len();
    }
    assert!(bytes <= 60_000, "{bytes} bytes before they are packed");
}
