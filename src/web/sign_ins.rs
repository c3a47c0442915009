//! Where somebody is signed in: the list on her own page. Template: `parts/sign_ins.html`.

use crate::app::App;
use crate::domain::role::Stay;
use crate::domain::zone::Zone;
use crate::store::sessions::{self, Holder, Listed};
use crate::store::{Connection, Stored};
use crate::t;
use crate::web::words;

/// A session, as the list shows it.
pub struct Row {
    /// What names it and opens nothing.
    pub hash: String,
    /// The kind of device.
    pub device: String,
    /// When it began.
    pub began: String,
    /// When it was last used.
    pub used: String,
    /// It is the one that asks.
    pub here: bool,
}

fn row(listed: Listed, zone: &Zone, own: &str) -> Row {
    Row {
        here: listed.token_hash == own,
        hash: listed.token_hash,
        device: if listed.device.is_empty() { t("a device").to_owned() } else { t(&listed.device).to_owned() },
        began: words::moment(zone.to_civil(listed.created_at)),
        used: words::moment(zone.to_civil(listed.seen_at)),
    }
}

/// Those of one person; `own` is the hash of the one that asks.
///
/// # Errors
/// When the database can't.
pub async fn rows(app: &App, c: &mut Connection, holder: &Holder, zone: &Zone, own: &str) -> Stored<Vec<Row>> {
    let now = app.clock.now();
    let stay = match holder {
        Holder::Account(_) => Stay::TEAM,
        Holder::Client(_) => Stay::CLIENT,
    };
    let listed = sessions::of(c, holder, now, now - stay.idle).await?;
    Ok(listed.into_iter().map(|listed| row(listed, zone, own)).collect())
}
