//! `GET` and `POST /owner/verify`: whether a package is as it was made. Template: `owner/verify.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use crate::app::App;
use crate::documents::verify::{Fault as Changed, Verified, verify};
use crate::store::exports;
use crate::studio_key::StudioKey;
use crate::web::error::Fault;
use crate::web::form::{Errors, Upload};
use crate::web::page::{Answer, Ctx, Page};
use crate::when;

/// What was found.
enum Found {
    /// Nothing was looked at yet.
    Nothing,
    /// As it was made.
    Intact {
        studio: String,
        when: String,
        who: String,
        why: String,
        files: u64,
        manifest: String,
        whose: Whose,
        key: String,
    },
    /// Not to be looked into before it is opened.
    Encrypted,
    /// Not as it was made.
    Changed(Vec<(String, &'static str)>),
}

/// Whose an intact package is.
enum Whose {
    /// This studio's key signed it.
    Ours,
    /// Another key signed it, but this studio's log knows it: the key was lost or changed since.
    OursBefore,
    /// Another studio's, or made to look like one of ours.
    NotOurs,
}

#[derive(Template)]
#[template(path = "owner/verify.html")]
struct VerifyPage {
    ctx: Ctx,
    errors: Errors,
    found: Found,
}

/// Shows the form.
pub async fn get(ctx: Ctx) -> Answer {
    Ok(Page::ok(VerifyPage { ctx, errors: Errors::new(), found: Found::Nothing }).into_response())
}

/// Looks at a package.
pub async fn post(State(app): State<App>, ctx: Ctx, upload: Upload) -> Answer {
    let mut errors = Errors::new();
    if upload.bytes == 0 {
        errors.add("file", crate::t("Choose a package: a ZIP file that was fetched here."));
        return Ok(Page::refused(VerifyPage { ctx, errors, found: Found::Nothing }).into_response());
    }
    let result = crate::apart::blocking(move || verify(upload.file)).await.map_err(Fault::internal)?;
    let found = match result {
        Ok(verified) => intact(&app, verified).await?,
        Err(faults) if faults == [Changed::Encrypted] => Found::Encrypted,
        Err(faults) => Found::Changed(faults.iter().map(in_words).collect()),
    };
    Ok(Page::ok(VerifyPage { ctx, errors, found }).into_response())
}

async fn intact(app: &App, verified: Verified) -> Result<Found, Fault> {
    let mut c = app.db.read().await?;
    let logged = exports::get(&mut c, &verified.head.id).await?;
    let logged = logged.is_some_and(|logged| logged.manifest_sha256 == verified.manifest_sha256);
    let key = StudioKey::load(app.db.folder()).map_err(Fault::internal)?;
    let whose = match key {
        Some(key) if key.public() == verified.signed_by => Whose::Ours,
        _ if logged => Whose::OursBefore,
        _ => Whose::NotOurs,
    };
    Ok(Found::Intact {
        whose,
        key: verified.signed_by.to_string(),
        studio: verified.head.studio.name,
        when: when::moment(verified.head.at.local),
        who: verified.head.by,
        why: verified.head.why,
        files: verified.files,
        manifest: verified.manifest_sha256,
    })
}

/// The file, if it is one, and what is wrong.
fn in_words(fault: &Changed) -> (String, &'static str) {
    match fault {
        Changed::Changed(name) => (name.clone(), crate::t("was changed")),
        Changed::Missing(name) => (name.clone(), crate::t("is missing")),
        Changed::Extra(name) => (name.clone(), crate::t("was added")),
        Changed::Duplicate(name) => (name.clone(), crate::t("is there more than once")),
        Changed::UnsafeName(name) => (name.clone(), crate::t("has a name that could do harm when it is unpacked")),
        Changed::TooLarge(name) => (name.clone(), crate::t("is larger than a package can hold")),
        Changed::Wrapping => {
            (String::new(), crate::t("Each file in it is intact, but the ZIP around them was made anew."))
        }
        Changed::Signature => (
            String::new(),
            crate::t("The signature doesn’t fit the list of files: somebody without the key made it anew."),
        ),
        Changed::Directory => {
            (String::new(), crate::t("The list of files at the end of the ZIP was cut off or damaged."))
        }
        Changed::Encrypted => (String::new(), crate::t("It is encrypted.")),
        Changed::Unreadable => (String::new(), crate::t("It is no ZIP file.")),
        Changed::NotOurs => (String::new(), crate::t("It is a ZIP file, but no package of this program.")),
        Changed::OtherLayout(_) => {
            (String::new(), crate::t("It was made by another version of this program, which can check it."))
        }
    }
}
