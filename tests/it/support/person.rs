//! Somebody with a browser: keeps cookies, follows nothing by itself, fills forms by reading the page.

use reqwest::header::HeaderMap;
use tokio::sync::mpsc::UnboundedSender;

use super::Html;

/// Somebody with a browser.
#[derive(Clone)]
pub(crate) struct Person {
    http: reqwest::Client,
    url: String,
    unasked: Vec<(String, String)>,
    told: Option<UnboundedSender<(u16, HeaderMap)>>,
}

impl Person {
    pub(crate) fn new(url: &str) -> Self {
        let http =
            reqwest::Client::builder().cookie_store(true).redirect(reqwest::redirect::Policy::none()).build().unwrap();
        Self { http, url: url.to_owned(), unasked: Vec::new(), told: None }
    }

    /// Somebody who adds fields to every form that has none of that name.
    pub(crate) fn adding(mut self, unasked: &[(&str, &str)]) -> Self {
        self.unasked = unasked.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
        self
    }

    /// Somebody who tells of each answer that she gets by [`Self::try_get`] and [`Self::try_submit`].
    pub(crate) fn telling(mut self, whom: UnboundedSender<(u16, HeaderMap)>) -> Self {
        self.told = Some(whom);
        self
    }

    fn tell(&self, page: Html) -> Html {
        if let Some(told) = &self.told {
            told.send((page.status, page.headers.clone())).unwrap();
        }
        page
    }

    /// Opens a page.
    pub(crate) async fn get(&self, path: &str) -> Html {
        Html::read(self.http.get(format!("{}{path}", self.url)).send().await.unwrap()).await
    }

    /// Opens a page with a cookie besides her own, as somebody would who copied it.
    pub(crate) async fn get_with(&self, cookie: &str, path: &str) -> Html {
        let request = self.request(reqwest::Method::GET, path).header("cookie", cookie);
        Html::read(request.send().await.unwrap()).await
    }

    /// Opens a page and goes where it redirects to, until a page comes.
    pub(crate) async fn visit(&self, path: &str) -> Html {
        let first = self.get(path).await;
        self.follow(first).await
    }

    /// Goes where a response redirects to, until a page comes.
    pub(crate) async fn follow(&self, mut page: Html) -> Html {
        for _ in 0..10 {
            match page.location() {
                Some(next) => page = self.get(&next).await,
                None => return page,
            }
        }
        panic!("it goes round in circles");
    }

    /// Fills the form of a page whose action begins so, as a browser does: what stands in it goes along, with these
    /// fields changed or added.
    pub(crate) async fn submit(&self, page: &Html, action: &str, fields: &[(&str, &str)]) -> Html {
        let (target, mut all) = filled(page, action, fields);
        for (name, value) in &self.unasked {
            if !all.iter().any(|(known, _)| known == name) {
                all.push((name.clone(), value.clone()));
            }
        }
        self.post(&target, &all).await
    }

    /// As [`Self::submit`], for a form that takes a file.
    pub(crate) async fn send(
        &self,
        page: &Html,
        action: &str,
        fields: &[(String, String)],
        file: Option<&[u8]>,
    ) -> Html {
        let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
        let (target, all) = filled(page, action, &fields);
        let mut form = reqwest::multipart::Form::new();
        for (name, value) in all {
            if name != "file" {
                form = form.text(name, value);
            }
        }
        // A browser sends an empty part without a name when nothing was chosen.
        let name = if file.is_some() { "IMG 0001.jpg" } else { "" };
        let part = reqwest::multipart::Part::bytes(file.unwrap_or_default().to_vec()).file_name(name);
        let sent =
            self.request(reqwest::Method::POST, &target).multipart(form.part("file", part)).send().await.unwrap();
        Html::read(sent).await
    }

    /// Posts whatever, as somebody would who forges a form.
    pub(crate) async fn post(&self, path: &str, fields: &[(String, String)]) -> Html {
        Html::read(self.http.post(format!("{}{path}", self.url)).form(fields).send().await.unwrap()).await
    }

    /// Opens a page; nothing when the server is gone.
    pub(crate) async fn try_get(&self, path: &str) -> Option<Html> {
        Html::try_read(self.http.get(format!("{}{path}", self.url)).send().await.ok()?)
            .await
            .map(|page| self.tell(page))
    }

    /// As [`Self::submit`]; nothing when the server is gone.
    pub(crate) async fn try_submit(&self, page: &Html, action: &str, fields: &[(&str, &str)]) -> Option<Html> {
        let (target, all) = filled(page, action, fields);
        let sent = self.http.post(format!("{}{target}", self.url)).form(&all).send().await.ok()?;
        Html::try_read(sent).await.map(|page| self.tell(page))
    }

    /// Any request.
    pub(crate) fn request(&self, method: reqwest::Method, path: &str) -> reqwest::RequestBuilder {
        self.http.request(method, format!("{}{path}", self.url))
    }
}

fn filled(page: &Html, action: &str, fields: &[(&str, &str)]) -> (String, Vec<(String, String)>) {
    let (target, mut all) = page.form(action);
    for (name, _) in fields {
        all.retain(|(known, _)| known != name);
    }
    for (at, (name, value)) in fields.iter().enumerate() {
        // Of a field that is given twice the later one counts, but for those that may be many.
        if name.starts_with("many-") || !fields.iter().skip(at + 1).any(|(later, _)| later == name) {
            all.push(((*name).to_owned(), (*value).to_owned()));
        }
    }
    (target, all)
}
