//! Starting a treatment as a practitioner does it: every point looked at and ticked.

use super::{Html, Person};

/// Opens the check before starting, ticks every point, and presses the button.
pub(crate) async fn start(person: &Person, visit: &str, fields: &[(&str, &str)]) -> Html {
    let page = person.get(&format!("/desk/visits/{visit}/chair")).await;
    assert_eq!(page.status, 200, "{}", page.text());
    let mut all = ticks(&page);
    all.extend(fields.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())));
    let all: Vec<(&str, &str)> = all.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    person.submit(&page, &format!("/desk/visits/{visit}/start"), &all).await
}

/// Every point of both lists.
pub(crate) fn ticks(page: &Html) -> Vec<(String, String)> {
    let of = |name: &str| {
        let values = page.attributes(&format!("input[name={name}]"), "value");
        values.into_iter().map(|value| (name.to_owned(), value)).collect::<Vec<_>>()
    };
    [of("many-day"), of("many-hygiene")].concat()
}
