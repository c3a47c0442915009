//! Backups: taken while others write, restored to the row, refused in words.
#![expect(clippy::unwrap_used, reason = "a test may fail where it stands")]

mod cut_off;
mod nightly;
mod refused;
mod under_load;

use std::collections::BTreeMap;
use std::path::Path;

use tokio::process::Command;

/// Runs a command of the real program over a folder: its exit code, and all that it says.
pub(crate) async fn command(args: &[&str], folder: &Path) -> (Option<i32>, String) {
    let program = env!("CARGO_BIN_EXE_palpebra");
    let output = Command::new(program).args(args).arg("--data").arg(folder).output().await.unwrap();
    let text = String::from_utf8(output.stdout).unwrap() + &String::from_utf8(output.stderr).unwrap();
    (output.status.code(), text)
}

/// Every row of every table, as SQLite would write it.
pub(crate) async fn tables(file: &Path) -> BTreeMap<String, Vec<String>> {
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(file).read_only(true);
    let pool = sqlx::SqlitePool::connect_with(options).await.unwrap();
    let names = "SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name";
    let names: Vec<String> = sqlx::query_scalar(names).fetch_all(&pool).await.unwrap();
    let mut tables = BTreeMap::new();
    // SQLite's notes on how its indices are spread: they are made anew, and say nothing of the studio.
    for table in names.into_iter().filter(|name| !name.starts_with("sqlite_stat")) {
        let columns = "SELECT 'quote(\"' || name || '\")' FROM pragma_table_info(?) ORDER BY cid";
        let columns: Vec<String> = sqlx::query_scalar(columns).bind(&table).fetch_all(&pool).await.unwrap();
        let rows = format!("SELECT {} FROM \"{table}\" ORDER BY 1", columns.join(" || ',' || "));
        let rows = sqlx::query_scalar(sqlx::AssertSqlSafe(rows)).fetch_all(&pool).await.unwrap();
        tables.insert(table, rows);
    }
    pool.close().await;
    tables
}

/// What lies in a folder, to the byte.
pub(crate) fn contents(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut all = BTreeMap::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let entry = entry.unwrap();
        if entry.file_type().unwrap().is_file() {
            all.insert(entry.file_name().into_string().unwrap(), std::fs::read(entry.path()).unwrap());
        }
    }
    all
}
