//! Runs tests with a mutant on, until one of them fails.

use std::collections::HashMap;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::time::{Duration, Instant};
use std::{fs, thread};

use anyhow::{Context, Result, bail, ensure};

/// Cases of each property test: more find little more here, and take as much longer.
const CASES: &str = "64";
/// The same cases each time.
const SEED: &str = "1";
/// Memory of one process in KiB, since a mutant may ask for all there is.
const MEMORY: u32 = 4 * 1024 * 1024;
/// Tests that take no longer than this run in one process.
const QUICK: Duration = Duration::from_millis(100);
/// How many times longer than without a mutant tests may take, and what is added for the start of a process.
const TIMES: u32 = 10;
const START: Duration = Duration::from_secs(5);

#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    Caught,
    TimedOut,
    Missed,
    /// No test comes by.
    Unreached,
}

pub struct Tests {
    binary: PathBuf,
    folder: PathBuf,
    /// Name and time of each.
    tests: Vec<(String, Duration)>,
    /// The tests that reach a mutant.
    by_mutant: HashMap<usize, Vec<usize>>,
}

impl Tests {
    /// Runs each test in a process of its own, so that what is made once in a process counts for each test that needs it.
    pub fn measure(binary: &Path, folder: &Path, jobs: usize) -> Result<Self> {
        let listed = Command::new(binary).args(["--list", "--format", "terse"]).output()?;
        let listed = String::from_utf8(listed.stdout)?;
        let names: Vec<_> = listed.lines().filter_map(|line| line.strip_suffix(": test")).map(str::to_owned).collect();
        ensure!(!names.is_empty(), "no tests");
        let reached = folder.join("../reached");
        if reached.exists() {
            fs::remove_dir_all(&reached)?;
        }
        fs::create_dir_all(&reached)?;
        let runs = in_parallel(names.len(), jobs, |number| -> Result<_> {
            let (file, from) = (reached.join(number.to_string()), Instant::now());
            let mut command = command(binary, folder);
            let status = command
                .args(["--exact", &names[number]])
                .env("MUTANTS_REACHED", &file)
                .stdout(Stdio::null())
                .status()?;
            let took = from.elapsed();
            let ids = fs::read_to_string(file).unwrap_or_default();
            Ok((status.success(), took, ids.lines().map(str::parse).collect::<Result<Vec<usize>, _>>()?))
        });
        let mut tests =
            Self { binary: binary.into(), folder: folder.into(), tests: Vec::new(), by_mutant: HashMap::new() };
        let mut failing = Vec::new();
        for (number, (name, run)) in names.into_iter().zip(runs).enumerate() {
            let (passed, took, ids) = run?;
            if !passed {
                failing.push(name.clone());
            }
            tests.tests.push((name, took));
            for id in ids {
                tests.by_mutant.entry(id).or_default().push(number);
            }
        }
        ensure!(failing.is_empty(), "without any mutant these fail: {}", failing.join(", "));
        for reaching in tests.by_mutant.values_mut() {
            reaching.sort_by_key(|number| tests.tests[*number].1);
        }
        Ok(tests)
    }

    pub fn len(&self) -> usize {
        self.tests.len()
    }

    /// How long all of them take together.
    pub fn time(&self) -> Duration {
        self.tests.iter().map(|(_, took)| *took).sum()
    }

    /// Runs what reaches the mutant: the quick tests together, then the others one by one.
    pub fn run(&self, mutant: usize) -> Result<Outcome> {
        let Some(reaching) = self.by_mutant.get(&mutant) else { return Ok(Outcome::Unreached) };
        let quick = reaching.iter().take_while(|number| self.tests[**number].1 <= QUICK).count();
        let (quick, slow) = reaching.split_at(quick);
        for group in [quick].into_iter().chain(slow.chunks(1)).filter(|group| !group.is_empty()) {
            let names: Vec<&str> = group.iter().map(|number| self.tests[*number].0.as_str()).collect();
            let usual: Duration = group.iter().map(|number| self.tests[*number].1).sum();
            let mut child = command(&self.binary, &self.folder)
                .args(["--test-threads", "1", "--exact"])
                .args(names)
                .env("MUTANT", mutant.to_string())
                .stdout(Stdio::piped())
                .spawn()?;
            let outcome = watch(&mut child, usual * TIMES + START);
            child.kill().ok();
            child.wait()?;
            match outcome? {
                Outcome::Missed => {}
                outcome => return Ok(outcome),
            }
        }
        Ok(Outcome::Missed)
    }
}

/// Waits for the first failure, the end, or the time when it should long have ended.
fn watch(child: &mut Child, limit: Duration) -> Result<Outcome> {
    let output = child.stdout.take().context("no output")?;
    let (tell, told) = channel();
    let reader = thread::spawn(move || {
        for line in BufReader::new(output).split(b'\n').map_while(Result::ok) {
            let line = String::from_utf8_lossy(&line);
            let said = if line.ends_with("... FAILED") || line.starts_with("test result: FAILED") {
                Outcome::Caught
            } else if line.starts_with("test result: ok") {
                Outcome::Missed
            } else {
                continue;
            };
            if tell.send(said).is_err() || said == Outcome::Missed {
                return;
            }
        }
    });
    let outcome = match told.recv_timeout(limit) {
        Ok(said) => said,
        Err(RecvTimeoutError::Timeout) => Outcome::TimedOut,
        // It ended in the midst of a test: out of memory or of stack.
        Err(RecvTimeoutError::Disconnected) => Outcome::Caught,
    };
    child.kill().ok();
    if reader.join().is_err() {
        bail!("what a test says can't be read");
    }
    Ok(outcome)
}

fn command(binary: &Path, folder: &Path) -> Command {
    let mut command = Command::new("sh");
    command
        .args(["-c", &format!("ulimit -c 0; ulimit -v {MEMORY}; exec \"$0\" \"$@\"")])
        .arg(binary)
        .current_dir(folder)
        .env("CARGO_MANIFEST_DIR", folder)
        .env("RUST_BACKTRACE", "0")
        .env("PROPTEST_CASES", CASES)
        .env("PROPTEST_RNG_SEED", SEED)
        .env("PROPTEST_MAX_SHRINK_ITERS", "0")
        .env("PROPTEST_DISABLE_FAILURE_PERSISTENCE", "1")
        .stdin(Stdio::null())
        .stderr(Stdio::null());
    command
}

/// Does a job for each number below `count`, so many at a time; gives the results in order.
pub fn in_parallel<T: Send>(count: usize, jobs: usize, job: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let next = AtomicUsize::new(0);
    let mut done: Vec<(usize, T)> = thread::scope(|scope| {
        let workers: Vec<_> = (0..jobs)
            .map(|_| {
                scope.spawn(|| {
                    let numbers = std::iter::repeat_with(|| next.fetch_add(1, Ordering::Relaxed));
                    numbers.take_while(|number| *number < count).map(|number| (number, job(number))).collect::<Vec<_>>()
                })
            })
            .collect();
        workers
            .into_iter()
            .flat_map(|worker| worker.join().unwrap_or_else(|cause| std::panic::resume_unwind(cause)))
            .collect()
    });
    done.sort_by_key(|(number, _)| *number);
    done.into_iter().map(|(_, result)| result).collect()
}
