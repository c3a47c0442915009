//! What a person does on a page, by the names that she reads or hears.

use std::time::Duration;

use fantoccini::Locator;
use fantoccini::elements::Element;
use fantoccini::error::CmdError;
use serde_json::json;

use palpebra::language::{Language, t};
use tokio::time::{interval, timeout};

use super::Browser;
use super::browser::squeeze;

const FIELDS: &str = "input:not([type=hidden], [type=radio], [type=checkbox], [type=submit]), textarea, select";
const BUTTONS: &str = "button, input[type=submit], summary, [role=button]";
/// The longest wait for a page; only a broken server takes that long.
const PATIENCE: Duration = Duration::from_secs(30);
/// What the label of a field ends with that may stay empty.
const OPTIONAL: &str = " (optional)";
const GROUPS: &str = "fieldset, [role=radiogroup], [role=group]";

impl Browser {
    pub(crate) async fn open(&self, address: &str) {
        self.client.goto(address).await.unwrap();
    }

    /// A text of ours in the language of the page.
    async fn said(&self, english: &str) -> String {
        let tag = self.client.execute("return document.documentElement.lang", vec![]).await.unwrap();
        let language = tag.as_str().and_then(Language::parse).unwrap_or_default();
        language.within(|| match english.strip_suffix(OPTIONAL) {
            Some(label) => format!("{} {}", t(label), t(OPTIONAL.trim_start())),
            None => t(english).to_owned(),
        })
    }

    /// Fills the field with this label, in place of what it holds; in a list, takes the choice that reads so.
    pub(crate) async fn fill(&self, label: &str, value: &str) {
        let field = self.named(FIELDS, label).await;
        let kind = field.prop("type").await.unwrap().unwrap_or_default();
        match kind.as_str() {
            "select-one" => {
                if field.select_by_label(&self.said(value).await).await.is_err() {
                    field.select_by_label(value).await.unwrap();
                }
            }
            "file" => field.send_keys(value).await.unwrap(),
            // Their keys depend on the order of day and month that the browser shows.
            "date" | "time" | "datetime-local" | "month" | "week" => {
                let script = "const [field, value] = arguments; field.value = value;
                    for (const name of ['input', 'change']) field.dispatchEvent(new Event(name, { bubbles: true }));";
                self.client.execute(script, vec![json!(field), json!(value)]).await.unwrap();
            }
            _ => {
                field.clear().await.unwrap();
                field.send_keys(value).await.unwrap();
            }
        }
    }

    /// What the field with this label holds.
    pub(crate) async fn value(&self, label: &str) -> String {
        self.named(FIELDS, label).await.prop("value").await.unwrap().unwrap_or_default()
    }

    /// Ticks the box with this label, or unticks it.
    pub(crate) async fn tick(&self, label: &str) {
        self.named("input[type=checkbox]", label).await.click().await.unwrap();
    }

    /// Answers the question (the name of a group of choices) with the choice that reads so.
    pub(crate) async fn choose(&self, question: &str, answer: &str) {
        let group = self.named(GROUPS, question).await;
        let choices = group.find_all(Locator::Css("input[type=radio]")).await.unwrap();
        self.only(choices, &self.said(answer).await).await.click().await.unwrap();
    }

    pub(crate) async fn press(&self, name: &str) {
        self.click(&self.named(BUTTONS, name).await).await;
    }

    pub(crate) async fn follow(&self, name: &str) {
        self.click(&self.named("a[href]", name).await).await;
    }

    pub(crate) async fn click(&self, element: &Element) {
        self.act_on(element, element.clone().click()).await;
    }

    /// Does something with a link or a button, and when that leads to another page, waits until it is there: the driver
    /// alone may return while a form is still being sent.
    pub(crate) async fn act_on(&self, element: &Element, act: impl Future<Output = Result<(), CmdError>>) {
        let mark = "document.leaving = true; const [e] = arguments;
            return e.form ? e.type === 'submit' : e.matches('a[href]') && e.pathname + e.search !== location.pathname + location.search";
        let leads_away = self.client.execute(mark, vec![json!(element)]).await.unwrap() == true;
        act.await.unwrap();
        if leads_away {
            self.comes_true("return !document.leaving && document.readyState === 'complete'").await;
        }
    }

    /// Presses a key on a button whose script sends its form, and waits until the page after it is there.
    pub(crate) async fn keys_away(&self, keys: &str) {
        self.client.execute("document.leaving = true", vec![]).await.unwrap();
        self.keys(keys).await;
        self.comes_true("return !document.leaving && document.readyState === 'complete'").await;
    }

    /// Waits until a script has written these words.
    pub(crate) async fn comes_to_show(&self, text: &str) {
        self.comes_true(&format!("return document.body.innerText.includes({})", json!(text))).await;
    }

    async fn comes_true(&self, script: &str) {
        let true_at_last = async {
            let mut look = interval(Duration::from_millis(10));
            loop {
                look.tick().await;
                if self.client.execute(script, vec![]).await.is_ok_and(|there| there == true) {
                    return;
                }
            }
        };
        if timeout(PATIENCE, true_at_last).await.is_err() {
            panic!("nothing came of it on {}", self.address().await);
        }
    }

    /// Sends the form of this number, among those of the page that hold something to fill in, with what can't be right:
    /// nothing, or far too much. The status of the answer, when there is such a form.
    pub(crate) async fn send_nonsense(&self, form: usize) -> Option<u64> {
        let script = "
            const free = (form) => [...form.elements].filter(e => e.matches('textarea, input:not([type=hidden], [type=radio], [type=checkbox])'));
            const form = [...document.querySelectorAll('main form')].filter(form => form.method === 'post' && free(form).length)[arguments[0]];
            if (!form) return null;
            form.noValidate = true;
            for (const choice of form.querySelectorAll('[type=radio], [type=checkbox]')) choice.checked = false;
            // All together less than a form may send.
            const most = 40000 / free(form).length;
            for (const [n, field] of free(form).entries()) {
                if (field.type === 'file') continue;
                if (field.tagName === 'INPUT' && field.type !== 'password') field.type = 'text';
                field.value = field.required && n % 2 === 0 ? '' : ('far too much '.repeat(field.tagName === 'INPUT' ? 50 : 400)).slice(0, most);
            }
            form.querySelector('button:not([form], [type=button])').dataset.nonsense = '';
            return true;";
        if self.client.execute(script, vec![json!(form)]).await.unwrap().is_null() {
            return None;
        }
        let button = self.client.find(Locator::Css("[data-nonsense]")).await.unwrap();
        let send = async {
            let send = "arguments[0].form.requestSubmit(arguments[0])";
            self.client.execute(send, vec![json!(button)]).await.map(drop)
        };
        self.act_on(&button, send).await;
        let status = "return performance.getEntriesByType('navigation')[0].responseStatus";
        self.client.execute(status, vec![]).await.unwrap().as_u64()
    }

    /// The text of the page as it is shown.
    pub(crate) async fn text(&self) -> String {
        squeeze(&self.client.find(Locator::Css("body")).await.unwrap().text().await.unwrap())
    }

    pub(crate) async fn assert_shows(&self, text: &str) {
        let shown = self.text().await;
        assert!(shown.contains(text), "{:?} is not on {}:\n{shown}", text, self.address().await);
    }

    /// The path and query of the page.
    pub(crate) async fn address(&self) -> String {
        let url = self.client.current_url().await.unwrap();
        url.query().map_or_else(|| url.path().to_owned(), |query| format!("{}?{query}", url.path()))
    }

    /// The one element that a screen reader calls by this name.
    pub(crate) async fn named(&self, kinds: &str, name: &str) -> Element {
        let all = self.client.find_all(Locator::Css(kinds)).await.unwrap();
        self.only(all, &self.said(name).await).await
    }

    /// The first element that a screen reader calls by a name that begins so, if there is one.
    pub(crate) async fn first(&self, kinds: &str, beginning: &str) -> Option<Element> {
        // It may be a text of ours or somebody's own words, such as the name of a service.
        let said = self.said(beginning).await;
        for element in self.client.find_all(Locator::Css(kinds)).await.unwrap() {
            let name = self.name_of(&element).await;
            if name.starts_with(&said) || name.starts_with(beginning) {
                return Some(element);
            }
        }
        None
    }

    /// Opens every day of a list of free times.
    pub(crate) async fn open_days(&self) {
        for day in self.client.find_all(Locator::Css(".slot-day:not([open]) > summary")).await.unwrap() {
            self.click(&day).await;
        }
    }

    /// What the server answers at this address to whoever is signed in here.
    pub(crate) async fn fetch(&self, address: &str) -> reqwest::Response {
        self.answer(reqwest::Client::new(), address).await.error_for_status().unwrap()
    }

    /// With which status the server answers a path for whoever is signed in here; a redirect is not followed.
    pub(crate) async fn status(&self, path: &str) -> u16 {
        let address = self.client.current_url().await.unwrap().join(path).unwrap();
        let staying = reqwest::Client::builder().redirect(reqwest::redirect::Policy::none()).build().unwrap();
        self.answer(staying, address.as_str()).await.status().as_u16()
    }

    async fn answer(&self, http: reqwest::Client, address: &str) -> reqwest::Response {
        let cookies = self.client.get_all_cookies().await.unwrap();
        let cookies: Vec<_> = cookies.iter().map(|cookie| format!("{}={}", cookie.name(), cookie.value())).collect();
        http.get(address).header("cookie", cookies.join("; ")).send().await.unwrap()
    }

    async fn only(&self, elements: Vec<Element>, name: &str) -> Element {
        let (mut found, mut names) = (Vec::new(), Vec::new());
        for element in elements {
            let own = self.name_of(&element).await;
            if own == name {
                found.push(element);
            }
            names.push(own);
        }
        match (found.pop(), found.is_empty()) {
            (Some(element), true) => element,
            (Some(_), false) => panic!("more than one is named {name:?} on {}: {names:?}", self.address().await),
            (None, _) => panic!("none is named {name:?} on {}: {names:?}", self.address().await),
        }
    }
}
