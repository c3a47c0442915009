//! Times by side in a version of a record.

use crate::domain::timing::{Side, SideTime};
use crate::store::types::{impossible, instant, small};
use crate::store::{Connection, Stored};

/// The times of every version of a record: (version, time), in their order.
pub(super) async fn of(c: &mut Connection, id: &str) -> Stored<Vec<(u32, SideTime)>> {
    const TABLE: &str = "treatment_time";
    let rows = sqlx::query!(
        "SELECT version, step, side, on_at, up_at, off_at, most_seconds FROM treatment_time
         WHERE treatment_id = ? ORDER BY version, position",
        id
    )
    .fetch_all(c)
    .await?;
    rows.into_iter()
        .map(|row| {
            let time = SideTime {
                step: row.step,
                side: Side::parse(&row.side).ok_or_else(|| impossible(TABLE, "side", id))?,
                on: instant(TABLE, "on_at", id, row.on_at)?,
                up: row.up_at.map(|up| instant(TABLE, "up_at", id, up)).transpose()?,
                off: instant(TABLE, "off_at", id, row.off_at)?,
                most_seconds: small(TABLE, "most_seconds", id, row.most_seconds)?,
            };
            Ok((small(TABLE, "version", id, row.version)?, time))
        })
        .collect()
}

/// Adds those of a version.
pub(super) async fn add(c: &mut Connection, id: &str, version: u32, times: &[SideTime]) -> Stored<()> {
    for (position, time) in (0_i64..).zip(times) {
        let side = time.side.as_str();
        let (on, off) = (time.on.unix_timestamp(), time.off.unix_timestamp());
        let up = time.up.map(time::OffsetDateTime::unix_timestamp);
        sqlx::query!(
            "INSERT INTO treatment_time (treatment_id, version, position, step, side, on_at, up_at, off_at, most_seconds)
             VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            id,
            version,
            position,
            time.step,
            side,
            on,
            up,
            off,
            time.most_seconds
        )
        .execute(&mut *c)
        .await?;
    }
    Ok(())
}
