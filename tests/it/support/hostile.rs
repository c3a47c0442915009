//! Text that tries to be more than text, wherever people write.

use sqlx::{Executor, Sqlite};

/// Closes an attribute, an element, a script; begins a formula; asks a template engine to reckon.
pub(crate) const HOSTILE: &str = "=1+\"><img src=x onerror=a()>'&{{7*7}}</script><script>a()</script>";
/// What an engine would make of it, if one read it.
pub(crate) const RECKONED: &str = "&49<";

/// Columns that keep what people write, wherever they stand.
const WRITTEN: [&str; 12] = [
    "name",
    "description",
    "maker",
    "supplier",
    "address",
    "phone",
    "reason",
    "late_policy",
    "notes",
    "note",
    "why",
    "title",
];

/// Writes it into every such column that can be changed at all and isn't sealed, and gives those that it stands in.
pub(crate) async fn plant<C>(c: &mut C) -> Vec<String>
where
    for<'e> &'e mut C: Executor<'e, Database = Sqlite>,
{
    let columns = "SELECT m.name, c.name FROM sqlite_schema m JOIN pragma_table_info(m.name) c
        WHERE m.type = 'table' AND c.type = 'TEXT' AND m.name NOT LIKE 'sqlite_%' AND m.name NOT LIKE '\\_%' ESCAPE '\\'";
    let columns: Vec<(String, String)> = sqlx::query_as(columns).fetch_all(&mut *c).await.unwrap();
    let mut planted = Vec::new();
    for (table, column) in columns.into_iter().filter(|(_, column)| WRITTEN.contains(&column.as_str())) {
        // A telephone number is read back as one; that of the studio is only shown.
        if table == "client" && column == "phone" {
            continue;
        }
        let sealed = format!("SELECT EXISTS (SELECT 1 FROM \"{table}\" WHERE \"{column}\" LIKE '\"sealed:%')");
        if sqlx::query_scalar::<_, bool>(sqlx::AssertSqlSafe(sealed)).fetch_one(&mut *c).await.unwrap() {
            continue;
        }
        let write = format!("UPDATE \"{table}\" SET \"{column}\" = ? || substr(\"{column}\", 1, 20)");
        let done = sqlx::query(sqlx::AssertSqlSafe(write)).bind(HOSTILE).execute(&mut *c).await;
        if done.is_ok_and(|done| done.rows_affected() > 0) {
            planted.push(format!("{table}.{column}"));
        }
    }
    planted
}
