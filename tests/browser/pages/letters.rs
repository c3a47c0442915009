//! What the links of letters lead to, also once they work no longer.

use palpebra::actions::health::{self, Applied};
use palpebra::domain::ids::SkinTestId;
use palpebra::domain::role::{Member, Role};
use palpebra::store::treatments::Outcome;
use palpebra::store::visits::Purpose;
use palpebra::store::{accounts, studio};
use time::Duration;

use super::clients::{fills_details, signs_in, takes_first};
use super::person::Person;
use super::places::Walk;
use crate::people::app::NOW;
use crate::people::studio::{GOOD_BATCH, LIV, MIA};
use crate::people::{Studio, TestApp};

const ODALIE: &str = "odalie@clients.example.org";

#[tokio::test]
async fn a_client_follows_the_links_of_her_letters() {
    let (app, studio) = TestApp::with_studio().await;
    let she = Person::new(&app.url, "visitor", "full").await;
    for place in ["go-on", "tell-us", "sign-in", "earlier", "invited", "unsubscribe"] {
        she.open(&format!("/{place}/{}", "a".repeat(26))).await;
        she.inspect(&format!("{place}-gone")).await;
    }
    // The browser itself notes that they are gone.
    let gone = she.browser.console_errors().await;
    assert!(gone.iter().all(|message| message.contains("a status of 4")), "{gone:#?}");
    is_asked_back(&she, &app, &studio).await;
    goes_on(&she, &app).await;
    is_told_of_an_earlier_time(&she, &app, &studio).await;
    tells_of_her_skin(&she, &app, &studio).await;
    she.leave(Walk::Letters).await;
}

async fn follow(she: &Person, app: &TestApp, to: &str, start: &str) {
    she.open(&app.mail_to(to).await.link(start).replace(&app.url, "")).await;
}

async fn is_asked_back(she: &Person, app: &TestApp, studio: &Studio) {
    let treated = NOW - Duration::days(59);
    studio.treated(&studio.mia, &studio.lift, treated, Outcome::AsWished, &[&studio.lotion]).await;
    studio.wants_letters(&studio.mia).await;
    let (owner, invite) = (app.owner().await, "/owner/retouch/invite");
    let list = owner.get("/owner/retouch").await;
    let key = format!("{}.{}", studio.mia, studio.lift);
    let preview = owner.submit(&list, invite, &[("many-who", &key)]).await;
    assert_eq!(owner.submit(&preview, invite, &[("sure", "yes")]).await.status, 303);
    follow(she, app, MIA, "/invited/").await;
    she.inspect("invited").await;
    follow(she, app, MIA, "/unsubscribe/").await;
    she.inspect("unsubscribe").await;
}

/// A booking that is left, goes on, and has lost its time.
async fn goes_on(she: &Person, app: &TestApp) {
    let browser = &she.browser;
    she.open("/").await;
    takes_first(browser, "a.pick", "Lash lift").await;
    takes_first(browser, "button.slot", "").await;
    fills_details(browser, ODALIE).await;
    browser.press("Go on to the health questions").await;
    browser.press("Stop here and mail me a link to go on").await;
    she.inspect("stopped").await;
    follow(she, app, ODALIE, "/go-on/").await;
    she.inspect("go-on").await;
    browser.press("Go on").await;
    she.inspect("go-on-refused").await;
    for (label, value) in [("Day", "4"), ("Month", "9"), ("Year", "1985")] {
        browser.fill(label, value).await;
    }
    browser.press("Go on").await;
    let address = browser.address().await;
    let booking = address.split('/').take(3).collect::<Vec<_>>().join("/");
    app.app.clock.advance(Duration::HOUR);
    she.inspect_at(&format!("{booking}/time"), "time-gone").await;
}

async fn is_told_of_an_earlier_time(she: &Person, app: &TestApp, studio: &Studio) {
    let other = studio.client("Zora Halvig", "zora@clients.example.org", time::macros::date!(1999 - 01 - 02)).await;
    let visit =
        |client, days| studio.visit(Purpose::Treatment, client, &studio.lift, &studio.liv, NOW + Duration::days(days));
    let (opening, hers) = (visit(&other, 3).await, visit(&studio.mia, 18).await);
    let mia = app.client(MIA).await;
    let page = mia.get(&format!("/me/visits/{hers}/earlier")).await;
    assert_eq!(mia.submit(&page, "/me/visits/", &[]).await.status, 303);
    let liv = app.member(LIV.0, LIV.1).await;
    let page = liv.get(&format!("/desk/visits/{opening}")).await;
    assert_eq!(liv.submit(&page, &format!("/desk/visits/{opening}/cancel"), &[]).await.status, 303);
    follow(she, app, MIA, "/earlier/").await;
    she.inspect("earlier").await;
}

async fn tells_of_her_skin(she: &Person, app: &TestApp, of: &Studio) {
    let mut c = app.app.db.read().await.unwrap();
    let row = studio::get(&mut c).await.unwrap().unwrap();
    let liv = accounts::by_mail(&mut c, LIV.0).await.unwrap().unwrap().member;
    drop(c);
    let applied = Applied {
        id: SkinTestId::from_random(app.app.random.id()),
        service: of.lift_and_tint.clone(),
        product: of.tint.clone(),
        batch: GOOD_BATCH.to_owned(),
        site: "behind the left ear".to_owned(),
        at: app.app.clock.now(),
    };
    let liv = Member { role: Role::Owner, ..liv };
    health::apply_walk_in(&app.app, &row, &liv, &of.mia, applied).await.unwrap();
    app.app.clock.advance(Duration::hours(48));
    follow(she, app, MIA, "/tell-us/").await;
    she.inspect("tell-us").await;
    she.browser.press("Tell the studio").await;
    she.inspect("tell-us-refused").await;
    signs_in(she, app, MIA).await;
    let own = she.first_link("/me", "/me/skin-tests/").await;
    she.inspect_at(&own, "own-skin-test").await;
}
