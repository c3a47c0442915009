//! The owner edits the health questions and a label.

use super::person::Person;
use super::places::Walk;
use super::{NOW, places};
use crate::support::Server;

#[tokio::test]
async fn the_owner_edits_the_rules_and_a_label() {
    let server = Server::demo(NOW).await;
    let she = Person::of_team(&server, "owner", "full").await;
    let browser = &she.browser;
    she.open("/owner/rules").await;
    browser.press("Start a draft from this version").await;
    she.inspect("rules-draft").await;
    let draft = "/owner/rules/draft";
    for (path, page) in [
        ("rules/dye_reaction", "rules-guarded"),
        ("questions/dry_eye_care", "rules-question"),
        ("questions/contacts/rule", "rules-new-rule"),
        ("sections/health/question", "rules-new-question"),
    ] {
        she.inspect_at(&format!("{draft}/{path}"), page).await;
    }
    browser.press("Keep in the draft").await;
    she.inspect("rules-new-question-refused").await;
    she.open(&format!("{draft}/rules/contacts")).await;
    browser.choose("What does it mean?", "Ask: the practitioner asks and decides").await;
    browser.press("Keep in the draft").await;
    she.inspect("rules-draft-changed").await;
    she.open(&format!("{draft}/publish")).await;
    browser.fill("Why is it changed?", "Our insurer asks for a talk about lenses").await;
    she.inspect("rules-publish").await;
    browser.press("Publish: it counts for everybody from now on").await;
    browser.assert_shows("Version 2 is in force.").await;
    she.inspect_at("/owner/rules/versions/1", "rules-old").await;
    let product = she.first_link("/owner/products", "/owner/products/").await;
    she.inspect_at(&product, "rules-product").await;
    she.inspect_at(&format!("{product}/label"), "label").await;
    assert_eq!(places::plain(Walk::Rules), ["/owner/rules/draft", "/owner/rules/draft/publish"]);
    she.leave(Walk::Rules).await;
}
