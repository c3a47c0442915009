//! Forms that carry a file, which goes to scratch space as it comes in.

use std::fs::File;
use std::io;

use axum::extract::multipart::{Field, MultipartError};
use axum::extract::{FromRequest, Multipart, Request};
use tokio::io::{AsyncSeekExt, AsyncWriteExt};

use super::{Fields, checked, seen};
use crate::actions::{export, files};
use crate::app::App;
use crate::documents::upload::{Checked, MOST_BYTES, Takes, UploadRefused};
use crate::web::error::Fault;

/// A form that carries files and whose token was right. The token comes first, so that nobody else's file is taken in.
pub struct Opened(Multipart);

impl Opened {
    /// Reads the token.
    ///
    /// # Errors
    /// [`Fault::ForeignForm`] when it isn't `ours`; [`Fault::BadRequest`] when it doesn't come first; [`Fault::TooLarge`].
    pub async fn of(form: Multipart, ours: impl Fn(&str) -> bool) -> Result<Self, Fault> {
        let mut form = Self(form);
        let mut token = form.next("csrf").await?;
        let posted = text(&mut token, 1024).await.map_err(|fault| match fault {
            Fault::TooLarge => Fault::ForeignForm,
            other => other,
        })?;
        drop(token);
        if ours(&posted) { Ok(form) } else { Err(Fault::ForeignForm) }
    }

    /// The next field, which has to have this name.
    async fn next(&mut self, name: &str) -> Result<Field<'_>, Fault> {
        let field = self.field().await?;
        field.filter(|field| field.name() == Some(name)).ok_or(Fault::BadRequest)
    }

    /// The next field, if there is one more.
    async fn field(&mut self) -> Result<Option<Field<'_>>, Fault> {
        self.0.next_field().await.map_err(broken)
    }
}

impl FromRequest<App> for Opened {
    type Rejection = Fault;

    async fn from_request(request: Request, app: &App) -> Result<Self, Fault> {
        let seen = seen(&request)?;
        let form = Multipart::from_request(request, app).await.map_err(|_| Fault::WrongKind)?;
        Self::of(form, |token| seen.owns_form(token)).await
    }
}

/// A file that came with a form of nothing else: in scratch space that nobody else can open, read from its start.
pub struct Upload {
    /// The file.
    pub file: File,
    /// Its size; 0 when none was chosen.
    pub bytes: u64,
}

impl FromRequest<App> for Upload {
    type Rejection = Fault;

    async fn from_request(request: Request, app: &App) -> Result<Self, Fault> {
        Self::read(Opened::from_request(request, app).await?, || export::scratch(app)).await
    }
}

impl Upload {
    /// Reads a form that has one field after its token: a file named `file`, which goes to a file that `scratch` makes.
    ///
    /// # Errors
    /// [`Fault::BadRequest`] when the form is another one; [`Fault::TooLarge`]; [`Fault::Unavailable`] when the file can't be
    /// kept.
    pub async fn read(mut form: Opened, scratch: impl Fn() -> io::Result<File>) -> Result<Self, Fault> {
        let (file, bytes) = receive(scratch, &mut form.next("file").await?, usize::MAX).await?;
        if form.field().await?.is_some() {
            return Err(Fault::BadRequest);
        }
        Ok(Self { file, bytes: u64::try_from(bytes).unwrap_or(u64::MAX) })
    }
}

/// A form with fields and, where one was chosen, a file.
pub struct FormWithFile {
    /// The fields.
    pub fields: Fields,
    file: Option<Received>,
}

/// A file in scratch space, or that it was too large to be put there.
enum Received {
    Whole(File),
    TooLarge,
}

/// The most that the fields of a form with a file hold together, in bytes, and how many they are.
const FIELDS: (usize, usize) = (64 * 1024, 200);

impl FromRequest<App> for FormWithFile {
    type Rejection = Fault;

    async fn from_request(request: Request, app: &App) -> Result<Self, Fault> {
        Self::read(Opened::from_request(request, app).await?, || export::scratch(app)).await
    }
}

impl FormWithFile {
    /// Reads a form; of its files at most one was chosen, and goes to a file that `scratch` makes.
    ///
    /// # Errors
    /// As [`Upload::read`], but a file that is too large is told by [`Self::take`].
    pub async fn read(mut form: Opened, scratch: impl Fn() -> io::Result<File>) -> Result<Self, Fault> {
        let (mut pairs, mut bytes, mut file) = (Vec::new(), 0, None);
        while let Some(mut field) = form.field().await? {
            let name = field.name().unwrap_or_default().to_owned();
            if let Some(named) = field.file_name().map(|name| !name.is_empty()) {
                let found = match receive(&scratch, &mut field, MOST_BYTES).await? {
                    (_, 0) if !named => continue,
                    (_, size) if size > MOST_BYTES => Received::TooLarge,
                    (whole, _) => Received::Whole(whole),
                };
                if file.replace(found).is_some() {
                    return Err(Fault::BadRequest);
                }
                continue;
            }
            let value = text(&mut field, FIELDS.0 - bytes).await?;
            bytes += value.len();
            pairs.push((name, value));
            if pairs.len() > FIELDS.1 {
                return Err(Fault::TooLarge);
            }
        }
        Ok(Self { fields: checked(pairs)?, file })
    }

    /// Whether a file was chosen.
    pub fn has_file(&self) -> bool {
        self.file.is_some()
    }

    /// The file, checked; nothing when none was chosen.
    ///
    /// # Errors
    /// [`UploadRefused`]
    pub async fn take(&mut self, takes: Takes) -> Result<Option<Checked>, UploadRefused> {
        match self.file.take() {
            None => Ok(None),
            Some(Received::TooLarge) => Err(UploadRefused::TooLarge),
            Some(Received::Whole(file)) => files::check(file, takes).await.map(Some),
        }
    }
}

/// Takes in a file, and tells its size. What is beyond the `most` bytes that are kept is passed over.
async fn receive(
    scratch: impl Fn() -> io::Result<File>,
    field: &mut Field<'_>,
    most: usize,
) -> Result<(File, usize), Fault> {
    let mut file = tokio::fs::File::from_std(scratch().map_err(full)?);
    let mut bytes: usize = 0;
    while let Some(part) = field.chunk().await.map_err(broken)? {
        bytes = bytes.saturating_add(part.len());
        if bytes <= most {
            file.write_all(&part).await.map_err(full)?;
        }
    }
    file.flush().await.map_err(full)?;
    file.rewind().await.map_err(full)?;
    Ok((file.into_std().await, bytes))
}

/// A field that holds text.
async fn text(field: &mut Field<'_>, most: usize) -> Result<String, Fault> {
    let mut value = Vec::new();
    while let Some(part) = field.chunk().await.map_err(broken)? {
        value.extend_from_slice(&part);
        if value.len() > most {
            return Err(Fault::TooLarge);
        }
    }
    String::from_utf8(value).map_err(|_| Fault::BadRequest)
}

fn broken(error: MultipartError) -> Fault {
    if error.status().as_u16() == 413 { Fault::TooLarge } else { Fault::BadRequest }
}

fn full(error: io::Error) -> Fault {
    tracing::error!(%error, "what was sent can't be kept");
    Fault::Unavailable
}
