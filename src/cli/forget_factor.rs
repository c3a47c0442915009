//! `palpebra forget-factor`: whoever can write the studio's file can let the owner in again.

use super::{Failed, ForgetArgs, say};
use crate::actions::second_factor;
use crate::domain::role::Actor;
use crate::store::accounts;

pub(super) async fn run(args: ForgetArgs) -> Result<(), Failed> {
    let app = args.data.open().await?;
    let account = accounts::by_mail(&mut *app.db.read().await?, &args.mail.to_lowercase()).await?;
    let forgotten = match account {
        Some(account) => Some(second_factor::forget(&app, &Actor::Command, &account.member.account).await?),
        None => None,
    };
    app.db.close().await;
    match forgotten {
        Some(true) => {
            say("The second factor is gone, and every session with it. The next sign-in sets a new one up.");
            Ok(())
        }
        Some(false) => Err(Failed::usage("there is no second factor to forget")),
        None => Err(Failed::usage("nobody signs in with that mail")),
    }
}
