//! A whole lift at the chair, with clocks that the test moves: the second eye 90 seconds after the first, the network gone
//! in the middle, a reload, a second tab, and a lotion that stays on for too long. Every time is in the record, once.

use fantoccini::Locator;
use palpebra::actions::chair::sync;
use palpebra::actions::steps::save_shields;
use palpebra::domain::ids::{ChairEventId, VisitId};
use palpebra::domain::shield::Shield;
use palpebra::domain::timing::{Event, Press, Side};
use palpebra::store::visits::Purpose;
use palpebra::store::{accounts, chair, treatments};
use serde_json::json;
use time::Duration;
use tokio::time::{interval, timeout};

use crate::people::app::NOW;
use crate::people::studio::{GOOD_BATCH, LIV};
use crate::people::{Studio, TestApp};
use crate::support::{Browser, Gate, PageClock};

/// Where all of it happens.
struct Chair {
    app: TestApp,
    studio: Studio,
    gate: Gate,
    browser: Browser,
    clock: PageClock,
    visit: VisitId,
}

impl Chair {
    /// A client is here, and her practitioner has signed in.
    async fn new(browser: Browser) -> Self {
        let (app, studio) = TestApp::with_studio().await;
        studio.consent(&studio.mia, &studio.lift).await;
        let visit = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW).await;
        let member = accounts::by_mail(&mut app.app.db.read().await.unwrap(), LIV.0).await.unwrap().unwrap().member;
        let shields = [("S", 8.0), ("M", 10.0), ("L", 12.0)].map(|(name, arc)| Shield::parse(name, arc).unwrap());
        save_shields(&app.app, &member, &shields).await.unwrap();
        let gate = Gate::before(&app.url).await;
        let mut clock = PageClock::new();
        clock.begin_at(&browser, NOW).await;
        let she = Self { app, studio, gate, browser, clock, visit };
        she.browser.open(&she.url("/team/sign-in")).await;
        she.browser.fill("Mail", LIV.0).await;
        she.browser.fill("Password", LIV.1).await;
        she.browser.press("Sign in").await;
        she.browser.open(&she.url(&format!("/desk/visits/{}", she.visit))).await;
        she.browser.press("The client is here").await;
        she.browser.follow("Check and start").await;
        she
    }

    fn url(&self, path: &str) -> String {
        format!("{}{path}", self.gate.origin)
    }

    /// Ticks every point, and starts.
    async fn start(&self) {
        for tick in self.browser.client.find_all(Locator::Css("[name=many-day], [name=many-hygiene]")).await.unwrap() {
            tick.click().await.unwrap();
        }
        self.browser.press("Start the treatment").await;
        self.browser.assert_shows("At the chair").await;
    }

    /// Seconds pass, for the server and for the page that is open. What was pressed has to be stored by then, where there
    /// is a network: a press on its way would come from a clock that is behind.
    async fn pass(&self, seconds: i64) {
        self.app.app.clock.advance(Duration::seconds(seconds));
        PageClock::advance(&self.browser, Duration::seconds(seconds)).await;
    }

    /// Presses a button of a step on one side.
    async fn press(&self, step: &str, side: &str, button: &str) {
        let group = format!(".two-sides[data-name='{step}'] [data-side={side}] [data-do={button}]");
        self.browser.client.find(Locator::Css(&group)).await.unwrap().click().await.unwrap();
    }

    /// What a side of a step shows.
    async fn side(&self, step: &str, side: &str) -> String {
        let group = format!(".two-sides[data-name='{step}'] [data-side={side}]");
        let text = self.browser.client.find(Locator::Css(&group)).await.unwrap().text().await.unwrap();
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    /// Waits until a side shows this: what another tab pressed comes when it comes.
    async fn until_side(&self, step: &str, side: &str, words: &str) {
        let mut look = interval(std::time::Duration::from_millis(20));
        let shown = async {
            while !self.side(step, side).await.contains(words) {
                look.tick().await;
                PageClock::advance(&self.browser, Duration::ZERO).await;
            }
        };
        let shown = timeout(std::time::Duration::from_secs(20), shown).await;
        assert!(shown.is_ok(), "{words:?}: {}", self.side(step, side).await);
    }

    /// Waits until the page says this of its network: an answer comes when it comes.
    async fn until(&self, words: &str) {
        let mut look = interval(std::time::Duration::from_millis(20));
        let said = async {
            loop {
                look.tick().await;
                let text = self.browser.client.find(Locator::Css("#chair-net")).await.unwrap().text().await.unwrap();
                if text.contains(words) {
                    return;
                }
            }
        };
        if timeout(std::time::Duration::from_secs(20), said).await.is_err() {
            panic!("it does not say {words:?}:\n{}", self.browser.text().await);
        }
    }

    /// Time passes until a side shows this, which somebody pressed on another device.
    async fn until_asked(&self, step: &str, side: &str, words: &str) {
        let shown = async {
            while !self.side(step, side).await.contains(words) {
                self.pass(5).await;
            }
        };
        let shown = timeout(std::time::Duration::from_secs(20), shown).await;
        assert!(shown.is_ok(), "{words:?}: {}", self.side(step, side).await);
    }

    /// Presses on the right eye's first lotion on another device.
    async fn presses_elsewhere(&self, press: Press) {
        let now = self.app.app.clock.now();
        let member =
            accounts::by_mail(&mut self.app.app.db.read().await.unwrap(), LIV.0).await.unwrap().unwrap().member;
        let id = ChairEventId::from_random(self.app.app.random.id());
        let event = Event { id, press, step: 1, side: Side::Right, at: now };
        sync(&self.app.app, &member, &self.visit, now, vec![event]).await.unwrap();
    }

    /// Opens the chair's page anew; the page's clock goes on where the server's stands.
    async fn reload(&mut self) {
        self.clock.begin_at(&self.browser, self.app.app.clock.now()).await;
        self.browser.client.refresh().await.unwrap();
    }

    /// Waits until the studio has so many presses: they come when they come.
    async fn until_stored(&self, presses: usize) {
        let mut look = interval(std::time::Duration::from_millis(20));
        let stored = async {
            while self.stored().await != presses {
                look.tick().await;
            }
        };
        let stored = timeout(std::time::Duration::from_secs(20), stored).await;
        assert!(stored.is_ok(), "{} of {presses} are stored:\n{}", self.stored().await, self.browser.text().await);
        self.until(ALL).await;
    }

    /// Waits until the device keeps the page with what it needs, so that it opens without a network.
    async fn until_kept(&self) {
        // What a look finds is told by the next one.
        let kept = "
            const needs = [...document.querySelectorAll('link[rel=stylesheet], script[src]')].map(one => one.href || one.src);
            Promise.all([location.pathname, ...needs].map(one => caches.match(one)))
                .then(all => { window.allKept = all.every(Boolean); });
            return window.allKept === true;";
        let mut look = interval(std::time::Duration::from_millis(20));
        let all = async {
            while self.browser.client.execute(kept, vec![]).await.unwrap() != json!(true) {
                look.tick().await;
            }
        };
        assert!(timeout(std::time::Duration::from_secs(20), all).await.is_ok(), "the page is not kept on the device");
    }

    /// Waits until the page shows this.
    async fn until_shows(&self, words: &str) {
        let mut look = interval(std::time::Duration::from_millis(20));
        // A page that is being left answers with an error, and shows nothing.
        let there = "return (document.body?.innerText ?? '').includes(arguments[0])";
        let shown = async {
            while self.browser.client.execute(there, vec![json!(words)]).await.ok() != Some(json!(true)) {
                look.tick().await;
            }
        };
        let shown = timeout(std::time::Duration::from_secs(20), shown).await;
        assert!(shown.is_ok(), "it does not show {words:?}:\n{}", self.browser.text().await);
    }

    /// What a script of the page finds.
    async fn asked(&self, script: &str) -> serde_json::Value {
        let script = format!("const done = arguments[0]; (async () => {script})().then(done, (e) => done(String(e)));");
        self.browser.client.execute_async(&script, vec![]).await.unwrap()
    }

    /// All that is kept on the device, as text.
    async fn kept(&self) -> String {
        let all = "{ let all = ''; for (const name of await caches.keys()) {
                const cache = await caches.open(name);
                for (const one of await cache.keys()) all += one.url + ' ' + await (await cache.match(one)).text();
            } return all; }";
        self.asked(all).await.as_str().unwrap().to_owned()
    }

    async fn stored(&self) -> usize {
        chair::pressed(&mut self.app.app.db.read().await.unwrap(), &self.visit).await.unwrap().len()
    }

    /// Ends the browser; that the network was gone is no error of the page.
    async fn close(self) {
        let errors = self.browser.console_errors().await;
        let other: Vec<_> = errors.into_iter().filter(|error| !error.contains("net::ERR_")).collect();
        assert!(other.is_empty(), "{}", other.join("\n"));
        self.browser.close().await;
    }
}

const ALL: &str = "All times are with the studio.";
const NONE: &str = "No network. Times are kept on this device";

#[tokio::test]
async fn a_whole_lift_keeps_every_time_through_all_that_goes_wrong() {
    let mut chair = Chair::new(Browser::new().await).await;
    PageClock::inspect(&chair.browser, "chair/before").await;
    chair.start().await;
    for (part, length) in [("Inner lashes", "6.5 mm"), ("Middle lashes", "7.5 mm"), ("Outer lashes", "7.5 mm")] {
        chair.browser.fill(part, length).await;
    }
    chair.browser.press("Show fitting shields").await;
    PageClock::inspect(&chair.browser, "chair/shields").await;
    chair.browser.press("Use shield M").await;
    chair.browser.fill("Batch number", GOOD_BATCH).await;
    chair.browser.press("Take this bottle").await;
    chair.browser.assert_shows("Bow Lotion, batch A-2031").await;
    chair.until(ALL).await;
    chair.until_kept().await;

    // The right eye first, the left one 90 seconds later.
    chair.pass(60).await;
    chair.press("First lotion", "right", "on").await;
    chair.until_stored(1).await;
    chair.pass(90).await;
    chair.press("First lotion", "left", "on").await;
    chair.until_stored(2).await;
    assert!(
        chair.side("First lotion", "right").await.contains("4:30"),
        "{}",
        chair.side("First lotion", "right").await
    );

    // The network goes; a second tab shows the same, and what is pressed there is seen here.
    chair.pass(245).await;
    assert!(chair.side("First lotion", "right").await.contains("Off in 25 s. Get ready"));
    PageClock::inspect(&chair.browser, "chair/soon").await;
    chair.pass(25).await;
    assert!(chair.side("First lotion", "right").await.contains("REMOVE NOW"));
    chair.browser.assert_shows("Right eye, First lotion: remove now.").await;
    chair.gate.shut();
    let first = chair.browser.client.window().await.unwrap();
    chair.pass(7).await;
    chair.press("First lotion", "right", "off").await;
    chair.until(NONE).await;
    assert!(chair.side("First lotion", "right").await.contains("Off. 09:01:00 to 09:07:07, 0:07 after its time"));
    PageClock::inspect(&chair.browser, "chair/no-network").await;

    let second = chair.browser.client.new_window(true).await.unwrap().handle;
    chair.browser.client.switch_to_window(second).await.unwrap();
    let mut other = PageClock::new();
    other.begin_at(&chair.browser, chair.app.app.clock.now()).await;
    chair.browser.open(&chair.url(&format!("/desk/visits/{}/chair", chair.visit))).await;
    assert!(chair.side("First lotion", "right").await.contains("09:01:00 to 09:07:07"), "kept, without any network");
    assert!(chair.side("First lotion", "left").await.contains("On since 09:02:30"));
    // The left eye's lotion is forgotten for half a minute over the label's longest time.
    chair.pass(113).await;
    assert!(chair.side("First lotion", "left").await.contains("REMOVE NOW. 0:30 over the label’s longest time"));
    PageClock::inspect(&chair.browser, "chair/over").await;
    chair.press("First lotion", "left", "off").await;
    chair.browser.client.close_window().await.unwrap();
    chair.browser.client.switch_to_window(first).await.unwrap();
    PageClock::advance(&chair.browser, Duration::seconds(113)).await;
    chair.until_side("First lotion", "left", "0:30 over the label’s longest time").await;
    chair.until_side("First lotion", "left", "Off. 09:02:30 to 09:09:00").await;
    assert_eq!(chair.stored().await, 2, "nothing came through");

    // A reload without the network, then it is back.
    chair.reload().await;
    assert!(chair.side("First lotion", "left").await.contains("09:02:30 to 09:09:00"));
    chair.until(NONE).await;
    chair.gate.open();
    chair.pass(5).await;
    chair.until_stored(4).await;

    // A slip is taken back; the second lotion is on for the usual time.
    chair.pass(55).await;
    for side in ["left", "right"] {
        chair.press("Second lotion", side, "on").await;
        chair.press("Second lotion", side, "slip").await;
        chair.press("Second lotion", side, "on").await;
    }
    chair.until_stored(10).await;
    chair.pass(300).await;
    for side in ["left", "right"] {
        chair.press("Second lotion", side, "off").await;
    }
    chair.until_stored(12).await;
    chair.reload().await;
    chair.until(ALL).await;
    assert_eq!(chair.stored().await, 12, "what is sent again is stored once");
    chair.pass(10 * 60).await;
    chair.browser.follow("Write the record").await;
    chair.browser.choose("How did it come out?", "As wished").await;
    chair.browser.press("Save the record").await;
    chair.browser.assert_shows("30 s over the label’s longest time").await;

    let record =
        treatments::of_visit(&mut chair.app.app.db.read().await.unwrap(), &chair.visit).await.unwrap().unwrap();
    let seconds = |at: time::OffsetDateTime| (at - NOW).whole_seconds();
    let version = record.current().unwrap();
    let told: Vec<_> = version
        .times
        .iter()
        .map(|t| (t.step.as_str(), t.side, seconds(t.on), t.up.map(seconds), seconds(t.off)))
        .collect();
    let (right, left) = (Side::Right, Side::Left);
    assert_eq!(
        told,
        [
            ("First lotion", right, 60, Some(420), 427),
            ("First lotion", left, 150, Some(510), 540),
            ("Second lotion", right, 600, Some(900), 900),
            ("Second lotion", left, 600, Some(900), 900),
        ]
    );
    assert_eq!(version.shield, "M");
    assert_eq!(version.products, [(chair.studio.lotion.clone(), GOOD_BATCH.to_owned())]);
    chair.close().await;
}

#[tokio::test]
async fn a_second_device_shows_what_is_on_and_stays_signed_in() {
    let chair = Chair::new(Browser::new().await).await;
    chair.start().await;
    chair.until(ALL).await;
    // Somebody at another device, twice after a time that lets a session at rest nearly end.
    for (press, words) in [(Press::On(360), "On since"), (Press::Off, "Off.")] {
        chair.pass(20 * 60).await;
        chair.presses_elsewhere(press).await;
        chair.until_asked("First lotion", "right", words).await;
    }
    chair.app.app.clock.advance(Duration::minutes(20));
    chair.browser.follow("Write the record").await;
    chair.browser.assert_shows("How did it come out?").await;
    chair.close().await;
}

#[tokio::test]
async fn the_record_is_opened_once_what_is_on_its_way_is_there() {
    let chair = Chair::new(Browser::new().await).await;
    chair.start().await;
    chair.until(ALL).await;
    let slowly = "const real = window.fetch; window.fetch = (...all) => new Promise((done, fail) => {
        window.letGo = () => real(...all).then(done, fail); });";
    chair.browser.client.execute(slowly, vec![]).await.unwrap();
    chair.press("First lotion", "right", "on").await;
    chair
        .browser
        .client
        .execute("document.querySelector(\"a[href$='/treatment'].main\").click()", vec![])
        .await
        .unwrap();
    assert_eq!(chair.stored().await, 0);
    chair.browser.client.execute("window.letGo()", vec![]).await.unwrap();
    chair.until_shows("How did it come out?").await;
    assert_eq!(chair.stored().await, 1);
    chair.close().await;
}

#[tokio::test]
async fn clocks_that_jump_do_not_delay_an_alarm() {
    let mut chair = Chair::new(Browser::new().await).await;
    chair.start().await;
    chair.press("First lotion", "right", "on").await;
    chair.pass(120).await;
    // Set back by an hour, and the page opened anew on that clock.
    let back = "const real = performance.now; let gone = 0; performance.now = () => real() + gone;
        jumpClock(-3600000); gone = 3600000;";
    chair.browser.client.execute(back, vec![]).await.unwrap();
    chair.pass(60).await;
    assert!(
        chair.side("First lotion", "right").await.contains("3:00"),
        "{}",
        chair.side("First lotion", "right").await
    );
    chair.clock.begin_at(&chair.browser, chair.app.app.clock.now() - Duration::HOUR).await;
    chair.browser.client.refresh().await.unwrap();
    chair.pass(60).await;
    assert!(
        chair.side("First lotion", "right").await.contains("2:00"),
        "{}",
        chair.side("First lotion", "right").await
    );
    chair.close().await;
}

#[tokio::test]
async fn no_time_over_the_label_can_be_set() {
    let chair = Chair::new(Browser::new().await).await;
    chair.start().await;
    chair.press("First lotion", "left", "less").await;
    assert!(chair.side("First lotion", "left").await.contains("5:30"));
    chair.press("First lotion", "left", "more").await;
    let more = ".two-sides[data-name='First lotion'] [data-side=left] [data-do=more]";
    let more = chair.browser.client.find(Locator::Css(more)).await.unwrap();
    assert!(!more.is_enabled().await.unwrap(), "six minutes are the label's longest time");
    chair.press("First lotion", "left", "on").await;
    assert!(!more.is_enabled().await.unwrap());
    chair.until_stored(1).await;
    chair.pass(200).await;
    chair.press("First lotion", "left", "off").await;
    chair.press("First lotion", "left", "on").await;
    chair.until_stored(3).await;
    assert!(
        chair.side("First lotion", "left").await.contains("2:40"),
        "off and on within one second, and only what the label leaves"
    );
    let large = "return [...document.querySelectorAll('.chair button, .chair .button')].filter(b => b.offsetHeight && b.offsetHeight < 44).length";
    assert_eq!(chair.browser.client.execute(large, vec![]).await.unwrap(), json!(0));
    chair.close().await;
}

#[tokio::test]
async fn a_bar_code_is_read_into_the_field_where_the_browser_can() {
    let chair = Chair::new(Browser::new().await).await;
    chair.start().await;
    let button = chair.browser.client.find(Locator::Css("[data-scan] button")).await.unwrap();
    assert!(!button.is_displayed().await.unwrap(), "this browser can't, so the number is typed");
    let can = "
        window.BarcodeDetector = class { async detect() { return window.held ? [{ rawValue: window.held }] : []; } };
        navigator.mediaDevices.getUserMedia = async () => {
            const seen = document.createElement('canvas');
            seen.getContext('2d').fillRect(0, 0, 9, 9);
            return seen.captureStream();
        };";
    chair.browser.devtools("Page.addScriptToEvaluateOnNewDocument", json!({ "source": can })).await;
    for held in ["A-2031", "]d20100000000000000\u{1d}1731123110A-2031\u{1d}21x"] {
        chair.browser.client.refresh().await.unwrap();
        chair.browser.press("Scan it with the camera").await;
        chair.until_shows("Hold the bar code before the camera.").await;
        chair.browser.client.execute("window.held = arguments[0]", vec![json!(held)]).await.unwrap();
        chair.until_shows("Read: A-2031. Compare it with the bottle.").await;
        let field = chair.browser.client.find(Locator::Id("batch")).await.unwrap();
        assert_eq!(field.prop("value").await.unwrap().as_deref(), Some("A-2031"));
    }
    chair.browser.press("Take this bottle").await;
    chair.browser.assert_shows("Bow Lotion, batch A-2031").await;
    chair.close().await;
}

#[tokio::test]
async fn without_scripts_the_same_record_is_written_by_hand() {
    let chair = Chair::new(Browser::without_scripts().await).await;
    chair.start().await;
    chair.browser.assert_shows("The timers need a script").await;
    chair.app.app.clock.advance(Duration::minutes(29));
    chair.browser.open(&chair.url("/desk")).await;
    chair.app.app.clock.advance(Duration::minutes(11));
    chair.browser.open(&chair.url(&format!("/desk/visits/{}/treatment", chair.visit))).await;
    for (field, time) in [
        ("First lotion, right eye: on (optional)", "09:05:10"),
        ("First lotion, right eye: off (optional)", "09:11:10"),
        ("First lotion, left eye: on (optional)", "09:06:40"),
        ("First lotion, left eye: off (optional)", "09:12:41"),
    ] {
        chair.browser.fill(field, time).await;
    }
    chair.browser.fill("Bow Lotion", GOOD_BATCH).await;
    chair.browser.choose("How did it come out?", "As wished").await;
    chair.browser.press("Save the record").await;
    chair.browser.assert_shows("First lotion, left eye: 09:06:40 to 09:12:41, time up 09:12:40: 6 min 1 s").await;
    let record =
        treatments::of_visit(&mut chair.app.app.db.read().await.unwrap(), &chair.visit).await.unwrap().unwrap();
    assert_eq!(record.current().unwrap().times.len(), 2);
    assert_eq!(chair.studio.mia, record.client);
    chair.close().await;
}

#[tokio::test]
async fn only_a_treatment_under_way_is_kept_and_nothing_of_it_but_unsent_times_once_she_signed_out() {
    let mut chair = Chair::new(Browser::new().await).await;
    chair.start().await;
    chair.until(ALL).await;
    chair.until_kept().await;
    assert!(chair.kept().await.contains("Mia Sandgren"), "to go on without a network");

    // The check before another treatment passes the worker, too, and has answers of hers on it.
    let at = NOW + Duration::hours(3);
    let next =
        chair.studio.visit(Purpose::Treatment, &chair.studio.mia, &chair.studio.lift, &chair.studio.liv, at).await;
    chair.browser.open(&chair.url(&format!("/desk/visits/{next}"))).await;
    chair.browser.press("The client is here").await;
    chair.browser.follow("Check and start").await;
    assert_eq!(chair.asked("navigator.serviceWorker.controller.scriptURL.endsWith('/chair-worker.js')").await, true);
    let page = format!("/desk/visits/{}/chair", chair.visit);
    let kept = chair.kept().await;
    assert!(kept.contains(&page) && !kept.contains(&format!("/desk/visits/{next}")), "{kept}");

    // A look at the page for signing in lets go of nothing while she is signed in.
    chair.browser.open(&chair.url("/team/sign-in")).await;
    assert!(chair.kept().await.contains(&page));
    chair.clock.begin_at(&chair.browser, chair.app.app.clock.now()).await;
    chair.browser.open(&chair.url(&page)).await;
    chair.until(ALL).await;
    chair.browser.client.execute("window.fetch = () => Promise.reject(new TypeError('gone'))", vec![]).await.unwrap();
    chair.press("First lotion", "right", "on").await;
    chair.until(NONE).await;
    chair.browser.press("Sign out").await;
    chair.until_shows("Sign in as practitioner or owner").await;
    let mut look = interval(std::time::Duration::from_millis(20));
    let gone = async {
        while chair.kept().await.contains("/desk/") {
            look.tick().await;
        }
    };
    assert!(timeout(std::time::Duration::from_secs(20), gone).await.is_ok(), "{}", chair.kept().await);
    assert!(!chair.kept().await.contains("Mia"), "{}", chair.kept().await);
    let unsent = chair.asked("JSON.stringify(Object.entries(localStorage))").await.to_string();
    assert!(unsent.contains("chair:") && unsent.contains(":e:") && !unsent.contains("Mia"), "{unsent}");

    chair.browser.fill("Mail", LIV.0).await;
    chair.browser.fill("Password", LIV.1).await;
    chair.browser.press("Sign in").await;
    chair.browser.open(&chair.url(&page)).await;
    chair.until_stored(1).await;
    chair.until_kept().await;
    chair.close().await;
}
