//! Every mail that the program writes. Words: `templates/mail/`.

use askama::Template;

use crate::domain::role::News;
use crate::{t, tf, tn};

/// What every mail knows.
#[derive(Debug, Clone)]
pub struct Frame {
    /// The studio's name.
    pub studio: String,
    /// How to reach it by phone.
    pub phone: String,
    /// Where its pages begin.
    pub base_url: String,
    /// The given name of whoever reads it.
    pub name: String,
}

/// A letter, ready to send.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Letter {
    /// The subject line.
    pub subject: String,
    /// The text part.
    pub text: String,
    /// The HTML part.
    pub html: String,
    /// What her calendar shall do.
    pub calendar: Option<CalendarPart>,
    /// Where one POST ends all letters of its kind.
    pub unsubscribe: Option<String>,
}

/// A calendar file that goes with a letter (RFC 6047).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CalendarPart {
    /// `REQUEST` or `CANCEL`.
    pub method: &'static str,
    /// The file.
    pub ics: String,
}

/// A message with its words.
#[derive(Debug, Clone)]
pub enum Message {
    /// The link that signs a client in.
    SignInLink {
        /// The whole link.
        link: String,
        /// How long it works, in minutes.
        minutes: i64,
    },
    /// The link with which a booking is gone on with.
    GoOn {
        /// The whole link.
        link: String,
        /// Whether it works once only.
        once: bool,
    },
    /// What does she see of her skin test? The letter doesn't say that there is one.
    SkinTest {
        /// The whole link.
        link: String,
    },
    /// The studio should look at what a client reported.
    LookAtReport {
        /// Her record.
        link: String,
    },
    /// Something happened to the reader's own sign-in.
    SignIn {
        /// What.
        news: News,
        /// When, in words.
        time: String,
    },
    /// What was booked.
    Booked {
        /// Each visit's time in words, the first one first.
        times: Vec<String>,
    },
    /// A visit has another time.
    Moved {
        /// The new time in words.
        time: String,
    },
    /// Something new stands against a visit.
    VerdictChanged {
        /// Its time in words.
        time: String,
        /// Where she reads what it needs.
        link: String,
    },
    /// A visit is off.
    Cancelled {
        /// Its time in words.
        time: String,
    },
    /// An earlier time is kept for her.
    Earlier {
        /// The time in words.
        time: String,
        /// With whom.
        with: String,
        /// Until when, in words.
        until: String,
        /// The whole link.
        link: String,
    },
    /// A client is asked back.
    Invitation {
        /// The token of its links.
        token: String,
        /// The first day that suits, in words; empty when that is past.
        from: String,
    },
    /// A visit comes soon.
    Reminder {
        /// Its time in words.
        time: String,
        /// Where it is, in lines; empty when the studio says nothing of it.
        address: String,
    },
    /// Papers of the studio end soon.
    PapersEnd,
    /// A package of records is made.
    ExportReady,
    /// All that was kept about the reader is gone.
    Erased,
    /// What may go is gone.
    Restricted {
        /// To which day the rest is kept, in words; empty when none is known.
        to: String,
    },
    /// What to do and what to leave after a treatment.
    Aftercare {
        /// The studio's words, line by line.
        lines: Vec<String>,
    },
}

macro_rules! mail {
    ($name:ident $text:literal $html:literal { $($field:ident: $type:ty),* }) => {
        mod $name {
            use super::Frame;
            #[derive(askama::Template)]
            #[template(path = $text)]
            pub(super) struct Text<'a> { pub(super) frame: &'a Frame, $(pub(super) $field: &'a $type),* }
            #[derive(askama::Template)]
            #[template(path = $html)]
            pub(super) struct Html<'a> { pub(super) frame: &'a Frame, $(pub(super) $field: &'a $type),* }
        }
    };
}

mail!(sign_in_link "mail/sign_in_link.txt" "mail/sign_in_link.html" { link: String, minutes: i64 });
mail!(go_on "mail/go_on.txt" "mail/go_on.html" { link: String, once: bool });
mail!(skin_test "mail/skin_test.txt" "mail/skin_test.html" { link: String });
mail!(look "mail/look.txt" "mail/look.html" { link: String });
mail!(sign_in "mail/sign_in.txt" "mail/sign_in.html" { news: String, time: String });
mail!(booked "mail/booked.txt" "mail/booked.html" { times: Vec<String> });
mail!(moved "mail/moved.txt" "mail/moved.html" { time: String });
mail!(earlier "mail/earlier.txt" "mail/earlier.html" { time: String, with: String, until: String, link: String });
mail!(invitation "mail/invitation.txt" "mail/invitation.html" { token: String, from: String });
mail!(reminder "mail/reminder.txt" "mail/reminder.html" { time: String, address: String });
mail!(papers_end "mail/papers_end.txt" "mail/papers_end.html" {});
mail!(export_ready "mail/export_ready.txt" "mail/export_ready.html" {});
mail!(erased "mail/erased.txt" "mail/erased.html" {});
mail!(restricted "mail/restricted.txt" "mail/restricted.html" { to: String });
mail!(aftercare "mail/aftercare.txt" "mail/aftercare.html" { lines: Vec<String> });
mail!(verdict_changed "mail/verdict_changed.txt" "mail/verdict_changed.html" { time: String, link: String });
mail!(cancelled "mail/cancelled.txt" "mail/cancelled.html" { time: String });

/// What happened to a sign-in, as the rest of a sentence.
fn told(news: &News) -> String {
    match news {
        News::NewBrowser { device } => {
            tf("your sign-in was used in a browser that it had not been used in before ({device}).")
                .with("device", t(device))
                .to_string()
        }
        News::CodesRefused => {
            t("your password was given, and the code after it was wrong several times. Whoever it was did not get in that way.")
                .to_owned()
        }
        News::PasswordChanged => t("your password was changed. You are signed out everywhere else.").to_owned(),
        News::PasswordRenewed => {
            t("the owner set a new first password for you. You are signed out everywhere.").to_owned()
        }
        News::SecondFactorSetUp => {
            t("a second factor was set up for your sign-in: from now on it also asks for a code.").to_owned()
        }
        News::SecondFactorForgotten => {
            t("your second factor was taken away. You set up a new one when you sign in.").to_owned()
        }
        News::RecoveryCodesMade => t("new recovery codes were made. The earlier ones no longer work.").to_owned(),
        News::RecoveryCodeUsed { left: 0 } => t("a recovery code was used. None is left.").to_owned(),
        News::RecoveryCodeUsed { left } => {
            tn("a recovery code was used. One is left.", "a recovery code was used. {n} are left.", left).to_string()
        }
        News::PasskeyAdded { name } => {
            tf("the passkey “{name}” was added: it signs you in after your password.").with("name", name).to_string()
        }
        News::PasskeyRemoved { name } => {
            tf("the passkey “{name}” was removed. You are signed out everywhere else.").with("name", name).to_string()
        }
        News::PasskeyCopied { name } => {
            tf("the passkey “{name}” was refused: its counter went back, so somebody may have a copy of it. Remove it, and make a new one.")
                .with("name", name)
                .to_string()
        }
        News::FeedMade => t("an address was made at which a calendar program reads your visits.").to_owned(),
        News::FeedEnded => {
            t("the address at which your calendar program read your visits has ended. Until you give it a new one, it shows old visits, or none.")
                .to_owned()
        }
        News::OutsideSet => {
            t("another calendar was set for you: when you are busy there, nobody is booked with you.").to_owned()
        }
    }
}

impl Message {
    /// The words.
    ///
    /// # Errors
    /// When a template fails, which is a fault of the program.
    pub fn write(&self, frame: &Frame) -> Result<Letter, askama::Error> {
        let (subject, text, html) = match self {
            Self::SignInLink { link, minutes } => (
                tf("Your sign-in link for {studio}").with("studio", &frame.studio).to_string(),
                sign_in_link::Text { frame, link, minutes }.render()?,
                sign_in_link::Html { frame, link, minutes }.render()?,
            ),
            Self::GoOn { link, once } => (
                tf("Go on with your booking at {studio}").with("studio", &frame.studio).to_string(),
                go_on::Text { frame, link, once }.render()?,
                go_on::Html { frame, link, once }.render()?,
            ),
            Self::SkinTest { link } => (
                tf("A question from {studio}").with("studio", &frame.studio).to_string(),
                skin_test::Text { frame, link }.render()?,
                skin_test::Html { frame, link }.render()?,
            ),
            Self::LookAtReport { link } => (
                t("A client has written: please look").to_owned(),
                look::Text { frame, link }.render()?,
                look::Html { frame, link }.render()?,
            ),
            Self::SignIn { news, time } => (
                tf("Your sign-in at {studio}").with("studio", &frame.studio).to_string(),
                sign_in::Text { frame, news: &told(news), time }.render()?,
                sign_in::Html { frame, news: &told(news), time }.render()?,
            ),
            Self::Booked { times } => (
                tf("Booked at {studio}").with("studio", &frame.studio).to_string(),
                booked::Text { frame, times }.render()?,
                booked::Html { frame, times }.render()?,
            ),
            Self::Moved { time } => (
                tf("Your visit at {studio} has a new time").with("studio", &frame.studio).to_string(),
                moved::Text { frame, time }.render()?,
                moved::Html { frame, time }.render()?,
            ),
            Self::Earlier { time, with, until, link } => (
                tf("An earlier time at {studio}").with("studio", &frame.studio).to_string(),
                earlier::Text { frame, time, with, until, link }.render()?,
                earlier::Html { frame, time, with, until, link }.render()?,
            ),
            Self::Invitation { token, from } => (
                tf("Your next visit at {studio}").with("studio", &frame.studio).to_string(),
                invitation::Text { frame, token, from }.render()?,
                invitation::Html { frame, token, from }.render()?,
            ),
            Self::Reminder { time, address } => (
                tf("Your visit at {studio}").with("studio", &frame.studio).to_string(),
                reminder::Text { frame, time, address }.render()?,
                reminder::Html { frame, time, address }.render()?,
            ),
            Self::PapersEnd => (
                tf("Papers of {studio} end soon").with("studio", &frame.studio).to_string(),
                papers_end::Text { frame }.render()?,
                papers_end::Html { frame }.render()?,
            ),
            Self::ExportReady => (
                tf("A package of records at {studio}").with("studio", &frame.studio).to_string(),
                export_ready::Text { frame }.render()?,
                export_ready::Html { frame }.render()?,
            ),
            Self::Erased => (
                tf("Your data at {studio}").with("studio", &frame.studio).to_string(),
                erased::Text { frame }.render()?,
                erased::Html { frame }.render()?,
            ),
            Self::Restricted { to } => (
                tf("Your data at {studio}").with("studio", &frame.studio).to_string(),
                restricted::Text { frame, to }.render()?,
                restricted::Html { frame, to }.render()?,
            ),
            Self::Aftercare { lines } => (
                tf("After your visit at {studio}").with("studio", &frame.studio).to_string(),
                aftercare::Text { frame, lines }.render()?,
                aftercare::Html { frame, lines }.render()?,
            ),
            Self::VerdictChanged { time, link } => (
                tf("Please look at your visit at {studio}").with("studio", &frame.studio).to_string(),
                verdict_changed::Text { frame, time, link }.render()?,
                verdict_changed::Html { frame, time, link }.render()?,
            ),
            Self::Cancelled { time } => (
                tf("Your visit at {studio} is cancelled").with("studio", &frame.studio).to_string(),
                cancelled::Text { frame, time }.render()?,
                cancelled::Html { frame, time }.render()?,
            ),
        };
        let unsubscribe = match self {
            Self::Invitation { token, .. } => Some(format!("{}/unsubscribe/{token}", frame.base_url)),
            _ => None,
        };
        Ok(Letter { subject, text, html, calendar: None, unsubscribe })
    }
}
