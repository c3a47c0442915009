//! Makes a scratch SQLite database from `migrations/`, against which sqlx checks every query at compile time.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a build script stops the build by panicking")]

use std::collections::hash_map::DefaultHasher;
use std::hash::{Hash, Hasher};
use std::path::{Path, PathBuf};
use std::{env, fs};

use sqlx::{ConnectOptions, Connection};

fn main() {
    println!("cargo:rerun-if-changed=migrations");
    println!("cargo:rerun-if-changed=build.rs");
    println!("cargo:rerun-if-env-changed=SQLX_OFFLINE");
    let out = PathBuf::from(env::var_os("OUT_DIR").unwrap());
    let migrations = PathBuf::from(env::var_os("CARGO_MANIFEST_DIR").unwrap()).join("migrations");

    // A changed schema is a new file name: no macro process that outlives a build can see a stale one.
    let scratch = out.join(format!("schema-{:016x}.sqlite", fingerprint(&migrations)));
    if !scratch.exists() {
        make(&migrations, &out.join("building.sqlite"));
        fs::rename(out.join("building.sqlite"), &scratch).unwrap();
    }
    println!("cargo:rustc-env=SQLX_OFFLINE=false");
    println!("cargo:rustc-env=DATABASE_URL=sqlite://{}?mode=ro", scratch.display());
}

fn fingerprint(migrations: &Path) -> u64 {
    let mut files: Vec<PathBuf> = fs::read_dir(migrations).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    let mut hasher = DefaultHasher::new();
    for file in &files {
        file.file_name().hash(&mut hasher);
        fs::read(file).unwrap().hash(&mut hasher);
    }
    hasher.finish()
}

fn make(migrations: &Path, file: &Path) {
    let _ = fs::remove_file(file);
    tokio::runtime::Builder::new_current_thread().build().unwrap().block_on(async {
        let options = sqlx::sqlite::SqliteConnectOptions::new().filename(file).create_if_missing(true);
        let mut connection = options.connect().await.unwrap();
        let migrator = sqlx::migrate::Migrator::new(migrations).await.unwrap();
        migrator.run(&mut connection).await.unwrap_or_else(|e| panic!("migrations/ does not apply: {e}"));
        connection.close().await.unwrap();
    });
}
