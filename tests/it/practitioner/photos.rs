//! Photos before and after: only while she agrees, only for those who treat her, without what a camera writes into them.

use palpebra::actions::consents;
use palpebra::domain::consent::Tick;
use palpebra::store::files;
use palpebra::store::visits::Purpose;

use crate::documents::upload::{jpeg, with_exif};
use crate::support::TestApp;
use crate::support::app::NOW;
use crate::support::studio::{LIV, MIA, NOOR};

#[tokio::test]
async fn a_photo_is_kept_without_its_metadata_for_those_who_treat_her() {
    let (app, studio) = TestApp::with_studio().await;
    studio.consent_with(&studio.mia, &studio.lift, &[Tick::RecordPhotos]).await;
    let id = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let path = format!("/desk/visits/{id}/photos");
    let taken = with_exif(&jpeg(), 6);
    assert!(taken.windows(4).any(|bytes| bytes == b"Exif"), "the photo carries something to take out");
    for purpose in ["before", "after"] {
        let page = liv.get(&path).await;
        let fields = [("purpose".to_owned(), purpose.to_owned())];
        let sent = liv.send(&page, &path, &fields, Some(&taken)).await;
        assert_eq!(sent.status, 303, "{}", sent.text());
    }
    let shown = liv.get(&path).await;
    let small = shown.attributes("ul.photos img", "src");
    assert_eq!(small.len(), 2, "{}", shown.main());
    let large = shown.attributes("ul.photos a", "href");
    let kept = liv.get(&large[0]).await;
    assert_eq!(kept.headers["content-type"], "image/jpeg");
    assert!(!kept.bytes.windows(4).any(|bytes| bytes == b"Exif"));
    assert!(liv.get(&small[0]).await.bytes.len() <= kept.bytes.len());
    assert_eq!(liv.get(&format!("/desk/visits/{id}")).await.attributes("ul.photos img", "src"), small);
    assert_eq!(super::changes(&app).await[..2], ["photo.added", "photo.added"]);
    let noor = app.member(NOOR.0, NOOR.1).await;
    for path in [&path, &small[0], &large[0]] {
        assert_eq!(noor.get(path).await.status, 404, "{path}");
        assert_eq!(app.visitor().get(path).await.status, 303, "{path}");
    }
    let mia = app.client(MIA).await;
    assert_eq!(mia.get(&large[0].replace("/desk/", "/me/")).await.status, 200, "it is hers");
}

#[tokio::test]
async fn a_photo_is_refused_at_its_field_and_once_she_takes_it_back() {
    let (app, studio) = TestApp::with_studio().await;
    studio.consent_with(&studio.mia, &studio.lift, &[Tick::RecordPhotos]).await;
    let id = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let path = format!("/desk/visits/{id}/photos");
    let page = liv.get(&path).await;
    let heic = b"\0\0\0\x18ftypheic0000".to_vec();
    let before = |purpose: &str| [("purpose".to_owned(), purpose.to_owned())];
    for (purpose, file, field, said) in [
        ("before", None, "file", "Choose a photo"),
        ("before", Some(heic), "file", "HEIC"),
        ("after", Some(vec![0; 11_000_000]), "file", "larger than 10 MB"),
        ("after", Some(jpeg()[..200].to_vec()), "file", "damaged"),
        ("reaction", Some(jpeg()), "purpose", "choose"),
    ] {
        let refused = liv.send(&page, &path, &before(purpose), file.as_deref()).await;
        assert_eq!(refused.status, 422, "{said}: {}", refused.text());
        assert!(refused.all(&format!("#{field}-error")).join(" ").contains(said), "{said}: {}", refused.main());
    }
    consents::withdraw(&app.app, &studio.mia, Tick::RecordPhotos).await.unwrap();
    let refused = liv.send(&page, &path, &before("after"), Some(&jpeg())).await;
    assert!(refused.all("#file-error").is_empty(), "the form is gone with her agreement");
    assert!(refused.main().contains("She has not agreed to photos for the record"), "{}", refused.main());
    assert!(liv.get(&path).await.all("form[enctype]").is_empty());
    assert!(files::of_client(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap().is_empty());
}
