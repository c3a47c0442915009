//! Who had a batch, over 100,000 treatments: `cargo bench --bench trace`. Fifty batches, so that 2,000 are found.
#![expect(clippy::unwrap_used, reason = "a measurement that cannot go on says where")]

use std::sync::LazyLock;

use divan::{Bencher, black_box};
use palpebra::domain::ids::ProductId;
use palpebra::store::{Db, trace};
use time::OffsetDateTime;
use tokio::runtime::Runtime;

static RUNTIME: LazyLock<Runtime> = LazyLock::new(|| Runtime::new().unwrap());

fn id(kind: u8, number: u32) -> String {
    let mut bits = [kind; 16];
    for (place, byte) in bits.iter_mut().zip(number.to_be_bytes()) {
        *place = byte;
    }
    ProductId::from_random(bits).to_string()
}

fn moment(seconds: i64) -> OffsetDateTime {
    OffsetDateTime::from_unix_timestamp(seconds).unwrap()
}

static DB: LazyLock<(tempfile::TempDir, Db)> = LazyLock::new(|| {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("trace.db");
    let db = RUNTIME.block_on(async {
        let db = Db::open(&file).await.unwrap();
        let options = sqlx::sqlite::SqliteConnectOptions::new().filename(&file).foreign_keys(false);
        let pool = sqlx::sqlite::SqlitePoolOptions::new().max_connections(1).connect_with(options).await.unwrap();
        let mut tx = pool.begin().await.unwrap();
        for client in 0..5_000 {
            let insert = "INSERT INTO client VALUES (?, 'Somebody Invented', 'x@example.org', '+44', '1990-01-01', 0)";
            sqlx::query(insert).bind(id(1, client)).execute(&mut *tx).await.unwrap();
        }
        for number in 0..100_000 {
            let (treatment, client) = (id(2, number), id(1, number % 5_000));
            let at = i64::from(number) * 600;
            let insert = "INSERT INTO treatment (id, client_id, visit_id, created_at) VALUES (?, ?, ?, 0)";
            let insert = sqlx::query(insert).bind(&treatment).bind(client).bind(id(3, number));
            insert.execute(&mut *tx).await.unwrap();
            let insert = "INSERT INTO treatment_version (treatment_id, version, service_id, practitioner_id, started_at, ended_at,
                aftercare_given, outcome, written_by, written_at) VALUES (?, 1, 's', 'p', ?, ?, 1, 'as_wished', 'x', 0)";
            sqlx::query(insert).bind(&treatment).bind(at).bind(at).execute(&mut *tx).await.unwrap();
            let insert = "INSERT INTO treatment_product VALUES (?, 1, ?, ?)";
            let insert = sqlx::query(insert).bind(&treatment).bind(id(4, 0)).bind(format!("B-{}", number % 50));
            insert.execute(&mut *tx).await.unwrap();
        }
        tx.commit().await.unwrap();
        pool.close().await;
        db
    });
    (folder, db)
});

/// Every use of a batch since ever: 2,000 of 100,000 treatments.
#[divan::bench(sample_count = 50)]
fn one_batch_of_fifty(bencher: Bencher<'_, '_>) {
    let product = ProductId::parse(&id(4, 0)).unwrap();
    bencher.bench_local(|| {
        RUNTIME.block_on(async {
            let mut c = DB.1.read().await.unwrap();
            let found = trace::batch(&mut c, &product, "B-7", moment(0), moment(100_000_000)).await.unwrap();
            assert_eq!(found.0.len(), 2_000);
            black_box(found)
        })
    });
}

fn main() {
    LazyLock::force(&DB);
    divan::main();
}
