//! A response, and what a person finds on the page.

use scraper::{ElementRef, Html as Document, Selector};

/// A response.
pub(crate) struct Html {
    /// Its status.
    pub(crate) status: u16,
    /// Its headers.
    pub(crate) headers: reqwest::header::HeaderMap,
    /// Its body.
    pub(crate) bytes: Vec<u8>,
    path: String,
}

fn select(css: &str) -> Selector {
    Selector::parse(css).unwrap()
}

fn words(element: ElementRef<'_>) -> String {
    element.text().collect::<String>().split_whitespace().collect::<Vec<_>>().join(" ")
}

impl Html {
    pub(crate) async fn read(response: reqwest::Response) -> Self {
        Self::try_read(response).await.expect("the whole body")
    }

    pub(super) async fn try_read(response: reqwest::Response) -> Option<Self> {
        let (status, headers) = (response.status().as_u16(), response.headers().clone());
        let path = response.url().path().to_owned();
        Some(Self { status, headers, path, bytes: response.bytes().await.ok()?.to_vec() })
    }

    /// The source.
    pub(crate) fn source(&self) -> String {
        String::from_utf8(self.bytes.clone()).unwrap()
    }

    /// What it says to a script.
    pub(crate) fn json(&self) -> serde_json::Value {
        serde_json::from_slice(&self.bytes).unwrap()
    }

    fn document(&self) -> Document {
        Document::parse_document(&self.source())
    }

    /// The words on the page.
    pub(crate) fn text(&self) -> String {
        words(self.document().root_element())
    }

    /// The words of the main part.
    pub(crate) fn main(&self) -> String {
        self.document().select(&select("main")).next().map(words).unwrap_or_default()
    }

    /// The words of whatever a CSS selector finds.
    pub(crate) fn all(&self, css: &str) -> Vec<String> {
        self.document().select(&select(css)).map(words).collect()
    }

    /// An attribute of whatever a CSS selector finds.
    pub(crate) fn attributes(&self, css: &str, name: &str) -> Vec<String> {
        self.document().select(&select(css)).filter_map(|e| e.value().attr(name).map(str::to_owned)).collect()
    }

    /// `name=value` of a cookie that it sets, whatever stands before its name.
    pub(crate) fn cookie(&self, name: &str) -> String {
        let set =
            self.headers.get_all("set-cookie").iter().map(|line| line.to_str().unwrap().split(';').next().unwrap());
        let mut found = set.filter(|pair| pair.split('=').next().unwrap().ends_with(name));
        found.next().unwrap_or_else(|| panic!("no cookie {name}: {:?}", self.headers)).to_owned()
    }

    /// Where it redirects to, as a path.
    pub(crate) fn location(&self) -> Option<String> {
        self.headers.get("location").map(|value| value.to_str().unwrap().to_owned())
    }

    /// Where the link with these words leads.
    pub(crate) fn link(&self, label: &str) -> String {
        let document = self.document();
        let found = document.select(&select("a[href]")).find(|a| words(*a).contains(label));
        found
            .unwrap_or_else(|| panic!("no link {label:?} on {}: {}", self.path, self.text()))
            .value()
            .attr("href")
            .unwrap()
            .to_owned()
    }

    /// The form with this action, or else the first whose action begins so: where it posts to, and what stands in it. Buttons are left out: a browser sends
    /// only the one that was pressed.
    pub(crate) fn form(&self, action: &str) -> (String, Vec<(String, String)>) {
        let document = self.document();
        let target = |form: &ElementRef<'_>| form.value().attr("action").unwrap_or(&self.path).to_owned();
        let forms = select("form");
        let find = |fits: &dyn Fn(&str) -> bool| document.select(&forms).find(|form| fits(&target(form)));
        let form = find(&|target| target == action).or_else(|| find(&|target| target.starts_with(action)));
        let form =
            form.unwrap_or_else(|| panic!("no form {action} on {} ({}): {}", self.path, self.status, self.text()));
        let mut fields = Vec::new();
        for field in form.select(&select("input[name], textarea[name], select[name]")) {
            let value = field.value();
            let name = value.attr("name").unwrap().to_owned();
            match (value.name(), value.attr("type")) {
                ("input", Some("radio" | "checkbox")) => {
                    if value.attr("checked").is_some() {
                        fields.push((name, value.attr("value").unwrap_or("on").to_owned()));
                    }
                }
                ("input", _) => fields.push((name, value.attr("value").unwrap_or("").to_owned())),
                ("textarea", _) => {
                    let text: String = field.text().collect();
                    fields.push((name, text.strip_prefix('\n').unwrap_or(&text).to_owned()));
                }
                _ => {
                    let options = select("option");
                    let mut options = field.select(&options);
                    let chosen = field.select(&select("option[selected]")).next().or_else(|| options.next());
                    fields.push((name, chosen.and_then(|o| o.value().attr("value")).unwrap_or("").to_owned()));
                }
            }
        }
        (target(&form), fields)
    }
}
