//! A clock of a page that stands until the test moves it, together with the server's.

use serde_json::json;
use time::{Duration, OffsetDateTime};

use super::Browser;

/// Runs before the scripts of every page: time is a variable, and timers fire when it passes them.
const CLOCK: &str = "(() => {
    let now = START, next = 1;
    const timers = new Map(), zero = now, RealDate = Date;
    window.Date = class extends RealDate {
        constructor(...given) { given.length ? super(...given) : super(now); }
        static now() { return now; }
    };
    performance.now = () => now - zero;
    const real = [window.setTimeout, window.clearTimeout];
    const held = [
        (run, wait = 0) => { timers.set(next, { run, at: now + Number(wait) }); return next++; },
        (id) => { timers.delete(id); },
    ];
    window.useTimers = (own) => { [window.setTimeout, window.clearTimeout] = own ? held : real; };
    window.useTimers(true);
    window.moveClock = (by) => {
        const until = now + by;
        for (;;) {
            const due = [...timers].filter(([, timer]) => timer.at <= until).sort((a, b) => a[1].at - b[1].at)[0];
            if (!due) break;
            timers.delete(due[0]);
            now = Math.max(now, due[1].at);
            due[1].run();
        }
        now = until;
    };
    window.jumpClock = (by) => { now += by; for (const timer of timers.values()) timer.at += by; };
})();";

/// The clock of one tab.
pub(crate) struct PageClock(Option<String>);

impl PageClock {
    /// No page of this tab has it yet.
    pub(crate) fn new() -> Self {
        Self(None)
    }

    /// The pages that are opened in this tab from now on begin at this moment.
    pub(crate) async fn begin_at(&mut self, browser: &Browser, now: OffsetDateTime) {
        browser.devtools("Page.enable", json!({})).await;
        if let Some(old) = self.0.take() {
            browser.devtools("Page.removeScriptToEvaluateOnNewDocument", json!({ "identifier": old })).await;
        }
        let source = CLOCK.replace("START", &(now.unix_timestamp() * 1000).to_string());
        let added = browser.devtools("Page.addScriptToEvaluateOnNewDocument", json!({ "source": source })).await;
        self.0 = Some(added["identifier"].as_str().unwrap().to_owned());
    }

    /// Looks at the page as [`Browser::inspect`] does; what looks has timers of its own that must run.
    pub(crate) async fn inspect(browser: &Browser, name: &str) {
        browser.client.execute("useTimers(false)", vec![]).await.unwrap();
        browser.inspect(name).await;
        browser.client.execute("useTimers(true)", vec![]).await.unwrap();
    }

    /// Time passes on the page that is open.
    pub(crate) async fn advance(browser: &Browser, by: Duration) {
        let ms = i64::try_from(by.whole_milliseconds()).unwrap();
        browser.client.execute("moveClock(arguments[0])", vec![json!(ms)]).await.unwrap();
    }
}
