//! Windows for 100,000 clients with eight lifts each, and the same with numpy and scipy.
//!
//! `cargo bench --bench window`, with `PALPEBRA_PYTHON` naming a python that has the packages of
//! `tests/reference` (`tests/run --setup` makes one in `target/reference-venv`). One thread each.
#![expect(clippy::unwrap_used, clippy::expect_used, reason = "a measurement that cannot go on says where")]
#![expect(clippy::print_stdout, reason = "its results are printed")]

use divan::counter::ItemsCount;
use divan::{Bencher, black_box};
use palpebra::domain::window::{GrowthRule, RetouchRule, window};
use std::io::{BufRead, BufReader, Write};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::sync::{LazyLock, Mutex};
use std::time::{Duration, Instant};
use time::{Date, macros::date};

const CLIENTS: u32 = 100_000;
const LIFTS: usize = 8;
const ORIGIN: Date = date!(2020 - 01 - 01);

/// Oldest first, gaps of 35 to 98 days.
static HISTORIES: LazyLock<Vec<[Date; LIFTS]>> = LazyLock::new(|| {
    let mut state = 1_u32;
    let mut gap = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        time::Duration::days(i64::from(35 + (state >> 16) % 64))
    };
    (0..CLIENTS)
        .map(|_| {
            let mut day = ORIGIN;
            std::array::from_fn(|_| {
                day += gap();
                day
            })
        })
        .collect()
});

static NUMPY: LazyLock<Mutex<Numpy>> = LazyLock::new(|| Mutex::new(Numpy::start()));

/// A python that holds the same histories and answers one word after another.
struct Numpy {
    _child: Child,
    ask: ChildStdin,
    answers: BufReader<ChildStdout>,
}

impl Numpy {
    fn start() -> Self {
        let python = std::env::var("PALPEBRA_PYTHON")
            .expect("PALPEBRA_PYTHON is not set: run tests/run --setup and set it to target/reference-venv/bin/python");
        let file = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("window-lifts.i32");
        let days = HISTORIES.iter().flatten().map(|&day| i32::try_from((day - ORIGIN).whole_days()).unwrap());
        std::fs::write(&file, days.flat_map(i32::to_ne_bytes).collect::<Vec<u8>>()).unwrap();
        let mut child = Command::new(python)
            .arg(concat!(env!("CARGO_MANIFEST_DIR"), "/benches/window.py"))
            .arg(file)
            .arg(LIFTS.to_string())
            .env("OMP_NUM_THREADS", "1")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let ask = child.stdin.take().unwrap();
        let mut answers = BufReader::new(child.stdout.take().unwrap());
        let mut ready = String::new();
        answers.read_line(&mut ready).unwrap();
        assert_eq!(ready.trim(), "ready");
        Self { _child: child, ask, answers }
    }

    fn sum_of_edges(&mut self, way: &str) -> i64 {
        writeln!(self.ask, "{way}").unwrap();
        let mut answer = String::new();
        self.answers.read_line(&mut answer).unwrap();
        answer.trim().parse().unwrap()
    }
}

/// Makes every window as the program does, with its reasons, and adds up the edges.
fn ours(rule: &RetouchRule) -> i64 {
    let origin = i64::from(ORIGIN.to_julian_day());
    let edges = |history: &[Date; LIFTS]| {
        let window = black_box(window(black_box(history), rule, &[])).unwrap();
        [window.opens(), window.due(), window.lapsed()].map(|day| i64::from(day.to_julian_day()) - origin)
    };
    HISTORIES.iter().flat_map(edges).sum()
}

fn rule() -> RetouchRule {
    RetouchRule::Growth(GrowthRule::default())
}

#[divan::bench]
fn palpebra(bencher: Bencher) {
    let rule = rule();
    LazyLock::force(&HISTORIES);
    bencher.counter(ItemsCount::new(CLIENTS)).bench_local(|| ours(&rule));
}

#[divan::bench(sample_count = 10, args = ["share", "days"])]
fn numpy(bencher: Bencher, way: &str) {
    let mut numpy = NUMPY.lock().unwrap();
    bencher.counter(ItemsCount::new(CLIENTS)).bench_local(|| numpy.sum_of_edges(way));
}

/// The middle of eleven runs, and what they found.
fn measure(mut run: impl FnMut() -> i64) -> (Duration, i64) {
    let found = run();
    let mut times: Vec<Duration> = (0..11)
        .map(|_| {
            let start = Instant::now();
            assert_eq!(run(), found);
            start.elapsed()
        })
        .collect();
    times.sort_unstable();
    (*times.get(5).unwrap(), found)
}

fn main() {
    divan::main();
    let rule = rule();
    let (time, found) = measure(|| ours(&rule));
    let rate = f64::from(CLIENTS) / time.as_secs_f64();
    println!("\n{CLIENTS} clients, {LIFTS} lifts each, one core: {rate:.0} windows a second");
    let mut numpy = NUMPY.lock().unwrap();
    for (way, what) in [("share", "edges from the shares, client by client"), ("days", "edges found once for the set")]
    {
        let (theirs, sum) = measure(|| numpy.sum_of_edges(way));
        assert_eq!(sum, found, "both must find the same windows");
        println!("{:8.2} times numpy with {what} ({theirs:?})", theirs.as_secs_f64() / time.as_secs_f64());
    }
}
