//! Seals what was written before there were keys: row by row as `unsealed` lists them, a batch to a transaction, so that
//! whoever cuts it off loses nothing.

use sqlx::{AssertSqlSafe, SqliteConnection};

use super::drafts::key_of;
use super::types::{impossible, instant};
use super::{Connection, Db, Stored};

/// How many rows are sealed in one transaction.
const BATCH: usize = 50;

/// Texts of a table: what `unsealed` calls them, how the row with the id `?1` is found, what the id of a row is, and whose
/// it is.
struct Texts {
    what: &'static str,
    table: &'static str,
    row: &'static str,
    id: &'static str,
    whose: &'static str,
    columns: &'static [&'static str],
}

const OF_VISIT: &str = "SELECT client_id FROM visit WHERE id = visit_id";

const TEXTS: [Texts; 12] = [
    Texts {
        what: "visit_verdict",
        table: "visit_verdict",
        row: "visit_id = ?1",
        id: "visit_id",
        whose: OF_VISIT,
        columns: &["booked", "latest"],
    },
    Texts {
        what: "visit_start",
        table: "visit_start",
        row: "visit_id = ?1",
        id: "visit_id",
        whose: OF_VISIT,
        columns: &["verdict", "readiness", "reason"],
    },
    Texts {
        what: "visit_check",
        table: "visit_check",
        row: "visit_id = ?1",
        id: "visit_id",
        whose: OF_VISIT,
        columns: &["on_the_day", "traits"],
    },
    Texts {
        what: "treatment_version",
        table: "treatment_version",
        row: "treatment_id = substr(?1, 1, instr(?1, '/') - 1) AND version = CAST(substr(?1, instr(?1, '/') + 1) AS INTEGER)",
        id: "treatment_id || '/' || version",
        whose: "SELECT client_id FROM treatment WHERE id = treatment_id",
        columns: &["notes", "reason"],
    },
    Texts {
        what: "consent",
        table: "consent",
        row: "id = ?1",
        id: "id",
        whose: "SELECT client_id",
        columns: &["body"],
    },
    Texts {
        what: "letter",
        table: "letter",
        row: "id = ?1",
        id: "id",
        whose: "SELECT client_id",
        columns: &["body", "set_aside_why"],
    },
    Texts {
        what: "hold",
        table: "hold",
        row: "id = ?1",
        id: "id",
        whose: "SELECT client_id",
        columns: &["why", "lifted_why"],
    },
    Texts {
        what: "past_visit",
        table: "past_visit",
        row: "id = ?1",
        id: "id",
        whose: "SELECT client_id",
        columns: &["note"],
    },
    Texts {
        what: "skin_test",
        table: "skin_test",
        row: "id = ?1",
        id: "id",
        whose: "SELECT client_id",
        columns: &["site"],
    },
    Texts {
        what: "skin_test.voided",
        table: "skin_test",
        row: "id = ?1",
        id: "id",
        whose: "SELECT client_id",
        columns: &["voided"],
    },
    Texts {
        what: "skin_test_reading",
        table: "skin_test_reading",
        row: "id = CAST(?1 AS INTEGER)",
        id: "id",
        whose: "SELECT client_id FROM skin_test WHERE id = skin_test_id",
        columns: &["note"],
    },
    Texts {
        what: "reaction_entry",
        table: "reaction_entry",
        row: "id = CAST(?1 AS INTEGER)",
        id: "id",
        whose: "SELECT client_id FROM reaction WHERE id = reaction_id",
        columns: &["body"],
    },
];

/// A sealed text of a client's, by its table and column: both as they are written here, and the column or the term by whose
/// value a row is named.
pub(super) fn text(table: &str, column: &str) -> Option<(&'static str, &'static str, &'static str)> {
    const BODIES: [(&str, &[&str]); 2] = [("answers", &["body"]), ("draft", &["answers", "consent"])];
    let bodies = BODIES.iter().map(|(table, columns)| (*table, "id", *columns));
    let texts = TEXTS.iter().map(|texts| (texts.table, texts.id, texts.columns));
    let of_table = bodies.chain(texts).filter(|(name, ..)| *name == table);
    let mut columns = of_table.flat_map(|(name, id, columns)| columns.iter().map(move |column| (name, *column, id)));
    columns.find(|(_, name, _)| *name == column)
}

/// Whether something waits to be sealed, and whether something is sealed.
pub(super) async fn standing(c: &mut SqliteConnection) -> Stored<(bool, bool)> {
    let row = sqlx::query!(
        r#"SELECT EXISTS (SELECT 1 FROM unsealed) AS "unsealed!: bool",
                  EXISTS (SELECT 1 FROM answers WHERE body LIKE '"sealed:%')
                  OR EXISTS (SELECT 1 FROM file WHERE hex(substr(body, 1, 1)) = '01') AS "sealed!: bool""#
    );
    let row = row.fetch_one(&mut *c).await?;
    let mut sealed = row.sealed;
    for Texts { table, columns, .. } in TEXTS {
        if let (false, Some(column)) = (sealed, columns.first()) {
            let sql = format!("SELECT EXISTS (SELECT 1 FROM {table} WHERE {column} LIKE '\"sealed:%')");
            sealed = sqlx::query_scalar(AssertSqlSafe(sql)).fetch_one(&mut *c).await?;
        }
    }
    Ok((row.unsealed, sealed))
}

/// Whose records are sealed.
pub(super) async fn people(c: &mut Connection) -> Stored<Vec<String>> {
    let texts = TEXTS.map(|Texts { table, whose, .. }| format!(" UNION SELECT ({whose}) FROM {table}")).concat();
    let sql = format!("SELECT client_id FROM answers UNION SELECT client_id FROM file{texts} ORDER BY 1");
    Ok(sqlx::query_scalar(AssertSqlSafe(sql)).fetch_all(c).await?)
}

/// Seals all that waits, and leaves nothing of it in the file as it was.
pub(super) async fn seal_all(db: &Db) -> Stored<()> {
    db.owe_scrub();
    loop {
        let mut tx = db.write().await?;
        let batch = i64::try_from(BATCH).unwrap_or(i64::MAX);
        let rows = sqlx::query!("SELECT what, id FROM unsealed ORDER BY what, id LIMIT ?", batch);
        let rows = rows.fetch_all(&mut *tx).await?;
        if rows.is_empty() {
            break;
        }
        for row in rows {
            match row.what.as_str() {
                "answers" => answers(&mut tx, &row.id).await?,
                "file" => file(&mut tx, &row.id).await?,
                "draft" => draft(&mut tx, &row.id).await?,
                "takeover" => takeover(&mut tx, &row.id).await?,
                what => texts(&mut tx, what, &row.id).await?,
            }
            sqlx::query!("DELETE FROM unsealed WHERE what = ? AND id = ?", row.what, row.id).execute(&mut *tx).await?;
        }
        tx.commit().await?;
    }
    db.scrub_if_owed().await;
    Ok(())
}

async fn texts(c: &mut Connection, what: &str, id: &str) -> Stored<()> {
    let of = TEXTS.iter().find(|of| of.what == what).ok_or_else(|| impossible("unsealed", "what", id))?;
    let Texts { table, row, whose, columns, .. } = of;
    let sql = AssertSqlSafe(format!("SELECT ({whose}) FROM {table} WHERE {row}"));
    let who: String = sqlx::query_scalar(sql).bind(id).fetch_one(&mut *c).await?;
    let key = c.sealer_even_erased(&who).await?;
    for column in *columns {
        let sql = AssertSqlSafe(format!("SELECT {column} FROM {table} WHERE {row}"));
        let plain: Option<String> = sqlx::query_scalar(sql).bind(id).fetch_one(&mut *c).await?;
        let sealed = plain.map(|plain| key.text(table, column, id, &plain)).transpose()?;
        let sql = AssertSqlSafe(format!("UPDATE {table} SET {column} = ?2 WHERE {row}"));
        sqlx::query(sql).bind(id).bind(sealed).execute(&mut *c).await?;
    }
    Ok(())
}

async fn answers(c: &mut Connection, id: &str) -> Stored<()> {
    let row = sqlx::query!("SELECT client_id, body FROM answers WHERE id = ?", id).fetch_one(&mut *c).await?;
    let key = c.sealer_even_erased(&row.client_id).await?;
    let body = key.text("answers", "body", id, &row.body)?;
    sqlx::query!("UPDATE answers SET body = ?, sha256 = '' WHERE id = ?", body, id).execute(c).await?;
    Ok(())
}

async fn file(c: &mut Connection, id: &str) -> Stored<()> {
    let row = sqlx::query!("SELECT client_id, body, thumbnail FROM file WHERE id = ?", id).fetch_one(&mut *c).await?;
    let key = c.sealer_even_erased(&row.client_id).await?;
    let body = key.bytes("file", "body", id, &row.body)?;
    let small = row.thumbnail.map(|small| key.bytes("file", "thumbnail", id, &small)).transpose()?;
    sqlx::query!("UPDATE file SET body = ?, thumbnail = ? WHERE id = ?", body, small, id).execute(c).await?;
    Ok(())
}

async fn draft(c: &mut Connection, id: &str) -> Stored<()> {
    let row =
        sqlx::query!("SELECT answers, consent, touched_at FROM draft WHERE id = ?", id).fetch_one(&mut *c).await?;
    let touched = instant("draft", "touched_at", id, row.touched_at)?;
    let (day, who) = key_of(touched);
    let key = c.sealer_even_erased(&who).await?;
    let answers = key.text("draft", "answers", id, &row.answers)?;
    let consent = row.consent.map(|consent| key.text("draft", "consent", id, &consent)).transpose()?;
    sqlx::query!("UPDATE draft SET answers = ?, consent = ?, key_day = ? WHERE id = ?", answers, consent, day, id)
        .execute(c)
        .await?;
    Ok(())
}

async fn takeover(c: &mut Connection, id: &str) -> Stored<()> {
    let row = sqlx::query!("SELECT body, added_at FROM takeover WHERE id = ?", id).fetch_one(&mut *c).await?;
    let (day, who) = key_of(instant("takeover", "added_at", id, row.added_at)?);
    let body = c.sealer_even_erased(&who).await?.bytes("takeover", "body", id, &row.body)?;
    sqlx::query!("UPDATE takeover SET body = ?, key_day = ? WHERE id = ?", body, day, id).execute(c).await?;
    Ok(())
}
