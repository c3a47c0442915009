//! Booking as a client does it, page by page.

use super::{Html, Person};

/// What a first client tells of herself.
pub(crate) const DETAILS: [(&str, &str); 6] = [
    ("name", "Ottilie Farnborg"),
    ("mail", "ottilie@clients.example.org"),
    ("phone", "+49 30 5550 1277"),
    ("born_day", "3"),
    ("born_month", "7"),
    ("born_year", "1988"),
];
/// What she signs with.
pub(crate) const SIGNED: [(&str, &str); 3] =
    [("treatment", "yes"), ("health_data", "yes"), ("typed_name", "Ottilie Farnborg")];

/// The first free time on a page.
pub(crate) fn first_slot(page: &Html) -> String {
    page.attributes("button.slot", "value")
        .into_iter()
        .next()
        .unwrap_or_else(|| panic!("no free time: {}", page.text()))
}

/// Takes the first free time of a service without a skin test; ends on the details page.
pub(crate) async fn take_first(person: &Person, service: &str) -> Html {
    let page = person.get(&format!("/services/{service}")).await;
    let slot = first_slot(&page);
    let held = person.submit(&page, "/services/", &[("time", &slot)]).await;
    assert_eq!(held.status, 303, "{}", held.text());
    person.follow(held).await
}

/// Answers no to every question of the page, but for those given.
pub(crate) async fn answer_page(person: &Person, page: &Html, but: &[(&str, &str)]) -> Html {
    let mut names = page.attributes("fieldset.answer input[value=no]", "name");
    names.retain(|name| !but.iter().any(|(key, _)| key == name));
    let mut fields: Vec<(&str, &str)> = names.iter().map(|name| (name.as_str(), "no")).collect();
    fields.extend(but);
    person.submit(page, "/book/", &fields).await
}

/// Goes through all question pages; the answers given apply wherever their question stands.
pub(crate) async fn answer_all(person: &Person, mut page: Html, but: &[(&str, &str)]) -> Html {
    for _ in 0..12 {
        if !page.source().contains("fieldset class=\"field answer") {
            return page;
        }
        let here: Vec<(&str, &str)> =
            but.iter().copied().filter(|(key, _)| page.source().contains(&format!("name=\"{key}\""))).collect();
        let next = answer_page(person, &page, &here).await;
        assert_eq!(next.status, 303, "{}", next.main());
        page = person.follow(next).await;
    }
    panic!("the questions don't end: {}", page.text());
}

/// From the details page to the page to sign.
pub(crate) async fn fill(person: &Person, page: &Html, details: &[(&str, &str)], but: &[(&str, &str)]) -> Html {
    let next = person.submit(page, "/book/", details).await;
    assert_eq!(next.status, 303, "{}", next.main());
    let questions = person.follow(next).await;
    answer_all(person, questions, but).await
}

/// Signs with a name all that is wanted, and books; ends on the page that comes next.
pub(crate) async fn signs(person: &Person, sign: &Html, name: &str) -> Html {
    let mut signed = SIGNED.to_vec();
    signed.push(("typed_name", name));
    let done = person.submit(sign, "/book/", &signed).await;
    person.follow(done).await
}
