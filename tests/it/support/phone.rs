//! The app on somebody's phone: what it was shown once, and the code that it shows now.

use totp_rs::{Builder, Secret, Totp};

use palpebra::app::SecondFactor;

use super::app::{Made, OWNER};
use super::{Html, Person, TestApp};

/// An app that shows codes.
pub(crate) struct Phone(Totp);

impl Phone {
    /// Types in the secret of a page.
    pub(crate) fn with_secret_of(page: &Html) -> Self {
        let words = page.all("code.secret").into_iter().next().expect("a secret on the page");
        let bytes = data_encoding::BASE32_NOPAD.decode(words.replace(' ', "").as_bytes()).unwrap();
        Self(Builder::new().with_secret(Secret::new_stack(bytes.try_into().unwrap())).build().unwrap())
    }

    /// The code that it shows now.
    pub(crate) fn code(&self, app: &TestApp) -> String {
        self.0.generate(u64::try_from(app.app.clock.now().unix_timestamp()).unwrap()).to_string()
    }
}

impl TestApp {
    /// A studio as `/set-up` makes it, its owner with a second factor; and her recovery codes.
    pub(crate) async fn with_guarded_owner() -> (Self, Person, Phone, Vec<String>) {
        Self::with_guarded_owner_at(None).await
    }

    /// The same, whose pages have this address.
    pub(crate) async fn with_guarded_owner_at(address: Option<&str>) -> (Self, Person, Phone, Vec<String>) {
        let base_url = address.map(str::to_owned);
        let app = Self::made(Made { second_factor: SecondFactor::Asked, base_url, ..Made::default() }).await;
        let owner = app.visitor();
        let page = owner.get("/set-up").await;
        let fields = [
            ("code", "the-code"),
            ("studio", "Studio Lidbogen"),
            ("zone", "Europe/Berlin"),
            ("currency", "EUR"),
            ("name", "Runa Ostfeld"),
            ("mail", OWNER.0),
            ("password", OWNER.1),
        ];
        let home = owner.submit(&page, "/set-up", &fields).await;
        assert_eq!(home.status, 303, "{}", home.main());
        let (phone, codes) = owner.sets_up_factor(&app).await;
        (app, owner, phone, codes)
    }
}

impl Person {
    /// Gives mail and password; ends wherever that leads.
    pub(crate) async fn gives_password(&self, mail: &str, password: &str) -> Html {
        let page = self.get("/team/sign-in").await;
        self.submit(&page, "/team/sign-in", &[("mail", mail), ("password", password)]).await
    }

    /// Is given a sign-in by the owner, and puts her own password in the place of the first one.
    pub(crate) async fn is_given_sign_in(&self, owner: &Person, path: &str, mail: &str, own: &str) {
        let page = owner.get(path).await;
        let shown = owner.submit(&page, &format!("{path}/sign-in"), &[("mail", mail)]).await;
        assert_eq!(shown.status, 200, "{}", shown.main());
        self.gives_password(mail, &shown.all(".secret").concat()).await;
        let page = self.get("/team/password").await;
        let done = self.submit(&page, "/team/password", &[("new", own)]).await;
        assert_eq!(done.status, 303, "{}", done.main());
    }

    /// Gives the code that is asked for after the password.
    pub(crate) async fn gives_code(&self, code: &str) -> Html {
        let page = self.get("/team/code").await;
        self.submit(&page, "/team/code", &[("code", code)]).await
    }

    /// Sets her second factor up, and keeps the recovery codes.
    pub(crate) async fn sets_up_factor(&self, app: &TestApp) -> (Phone, Vec<String>) {
        let page = self.get("/team/second-factor").await;
        let phone = Phone::with_secret_of(&page);
        let done = self.submit(&page, "/team/second-factor", &[("code", &phone.code(app))]).await;
        assert_eq!(done.status, 200, "{}", done.main());
        let codes = done.all(".codes code");
        assert_eq!(codes.len(), 10, "{}", done.main());
        (phone, codes)
    }
}
