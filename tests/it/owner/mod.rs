//! The owner's pages.
#![expect(clippy::unwrap_used, reason = "a test may fail where it stands")]

mod access;
mod audit;
mod catalogue;
mod consent_text;
mod cycle;
mod days_off;
mod exports;
mod face;
mod forecast;
mod home;
mod invite;
mod keeping;
mod label;
mod language;
pub(crate) mod leaving;
mod meanwhile;
mod other_hours;
mod package;
mod papers;
mod practitioners;
mod progress;
mod retouch;
mod retouch_table;
mod rule;
mod rules;
mod sealed;
mod steps;
mod studio;
mod takeover;
mod takings;
mod trace;

use crate::support::{Html, Person, TestApp};

/// The owner at work, and what she has set up so far.
struct Desk {
    app: TestApp,
    owner: Person,
}

impl Desk {
    async fn new() -> Self {
        let app = TestApp::with_owner().await;
        let owner = app.owner().await;
        Self { app, owner }
    }

    /// Fills the form of a page, expects it to be taken, and gives the path that comes next, without what it says.
    async fn fill(&self, path: &str, action: &str, fields: &[(&str, &str)]) -> String {
        let page = self.owner.get(path).await;
        let after = self.owner.submit(&page, action, fields).await;
        assert_eq!(after.status, 303, "{path}: {}", after.main());
        let location = after.location().unwrap();
        location.split('?').next().unwrap().to_owned()
    }

    /// Fills the form of a page and expects it to be refused, at a field, with what was typed still there.
    async fn refuse(&self, path: &str, action: &str, fields: &[(&str, &str)], field: &str) -> Html {
        let page = self.owner.get(path).await;
        let again = self.owner.submit(&page, action, fields).await;
        assert_eq!(again.status, 422, "{path} {fields:?}: {}", again.main());
        let at = again.attributes(".summary a", "href");
        assert_eq!(at, [format!("#{field}")], "{path} {fields:?}: {}", again.main());
        let (_, kept) = again.form(action);
        for (name, value) in fields.iter().filter(|(name, _)| *name != "password") {
            let value = (*value).to_owned();
            assert!(kept.iter().any(|(key, kept)| key == name && *kept == value), "{path}: {name} is lost: {kept:?}");
        }
        again
    }

    /// A practitioner with hours on every day.
    async fn practitioner(&self, name: &str) -> String {
        let path = self.fill("/owner/practitioners", "/owner/practitioners", &[("name", name)]).await;
        let mut fields = vec![];
        for day in DAYS {
            fields.push((day, "9:00-12:30, 13:30-18:00"));
        }
        self.fill(&path, &path, &fields).await;
        path.rsplit('/').next().unwrap().to_owned()
    }

    /// The same, with a sign-in.
    async fn member(&self, name: &str, mail: &str) -> (String, Person) {
        let id = self.practitioner(name).await;
        let path = format!("/owner/practitioners/{id}");
        let person = self.app.visitor();
        person.is_given_sign_in(&self.owner, &path, mail, PASSWORD).await;
        (id, person)
    }

    async fn product(&self, name: &str, chemistry: &str) -> String {
        let fields = [("name", name), ("chemistry", chemistry)];
        let path = self.fill("/owner/products/new", "/owner/products/new", &fields).await;
        path.rsplit('/').next().unwrap().to_owned()
    }

    async fn service(&self, kind: &str, more: &[(&str, &str)]) -> String {
        let mut fields = vec![("kind", kind), ("name", "Soft lift"), ("minutes", "60"), ("price", "45.50")];
        fields.extend(more);
        let path = self.fill("/owner/services/new", "/owner/services/new", &fields).await;
        path.rsplit('/').next().unwrap().to_owned()
    }
}

const PASSWORD: &str = "seven slow blue kettles";
const DAYS: [&str; 7] = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"];
/// An id that nothing has.
const NOBODY: &str = "aaaaaaaaaaaaaaaaaaaaaaaaaa";
