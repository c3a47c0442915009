//! Mutation tests of the rules in `src/domain`: would a test notice if a rule were another one?
//!
//! All mutants are built at once, each behind a switch; the tests that reach a mutant are run with it on, until one of
//! them fails. What lives must be explained in `survivors.txt`.

mod run;
mod sites;
mod survivors;
mod tree;
mod values;

use std::collections::HashSet;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;
use std::{env, fs, thread};

use anyhow::{Context, Result, bail};

use run::{Outcome, Tests, in_parallel};
use survivors::Survivors;
use tree::Tree;

/// The least share of mutants that must be noticed, in percent.
const LEAST_SCORE: f64 = 95.0;

const USAGE: &str = "mutants [--jobs N] [--again] [FILTER]

  --jobs N  so many processes at a time; else as many as there are processors
  --again   only the mutants that lived in the last run
  FILTER    only mutants whose file, function or change contains FILTER";

#[derive(Default)]
struct Wanted {
    jobs: Option<usize>,
    again: bool,
    filter: String,
}

fn main() -> ExitCode {
    let wanted = match arguments() {
        Ok(wanted) => wanted,
        Err(refused) => {
            eprintln!("{refused}\n{USAGE}");
            return ExitCode::from(2);
        }
    };
    match mutate(&wanted) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(cause) => {
            eprintln!("{cause:#}");
            ExitCode::FAILURE
        }
    }
}

fn arguments() -> Result<Wanted> {
    let mut wanted = Wanted::default();
    let mut arguments = env::args().skip(1);
    while let Some(argument) = arguments.next() {
        match argument.as_str() {
            "--jobs" => wanted.jobs = Some(arguments.next().context("--jobs takes a number")?.parse()?),
            "--again" => wanted.again = true,
            option if option.starts_with('-') => bail!("{option} is not known"),
            filter => filter.clone_into(&mut wanted.filter),
        }
    }
    Ok(wanted)
}

/// Whether the score is reached and every survivor explained.
fn mutate(wanted: &Wanted) -> Result<bool> {
    let from = Instant::now();
    let own = Path::new(env!("CARGO_MANIFEST_DIR"));
    let project = own.parent().and_then(Path::parent).context("the project is not around")?;
    let target = env::var_os("CARGO_TARGET_DIR").map_or_else(|| project.join("target"), PathBuf::from).join("mutants");
    let jobs = wanted.jobs.unwrap_or_else(|| thread::available_parallelism().map_or(1, usize::from)).max(1);
    let explained = Survivors::read(&own.join("survivors.txt"))?;

    let mut tree = Tree::new(project, &target)?;
    eprintln!("{} mutants, and {} places in constants", tree.mutants.len(), tree.constant);
    let binary = tree.build()?;
    eprintln!("built after {} s", from.elapsed().as_secs());
    let tests = Tests::measure(&binary, tree.root(), jobs)?;
    eprintln!("{} tests take {:.1} s together", tests.len(), tests.time().as_secs_f64());

    let lived_file = target.join("lived.txt");
    let lived = fs::read_to_string(&lived_file).unwrap_or_default();
    let lived: HashSet<&str> = lived.lines().collect();
    let chosen = |id: &usize| {
        let name = &tree.mutants[*id].name;
        name.contains(&wanted.filter) && (!wanted.again || lived.contains(name.as_str()))
    };
    let (unviable, viable): (Vec<usize>, Vec<usize>) =
        (0..tree.mutants.len()).filter(chosen).partition(|id| tree.dropped.contains(id));
    let done = AtomicUsize::new(0);
    let outcomes = in_parallel(viable.len(), jobs, |number| {
        let outcome = tests.run(viable[number]);
        let done = done.fetch_add(1, Ordering::Relaxed) + 1;
        if done.is_multiple_of(250) {
            eprintln!("  {done} of {} after {} s", viable.len(), from.elapsed().as_secs());
        }
        outcome
    });
    let outcomes = outcomes.into_iter().collect::<Result<Vec<_>>>()?;

    let mut alive = String::new();
    let mut unexplained = 0;
    for (id, outcome) in viable.iter().zip(&outcomes) {
        let mutant = &tree.mutants[*id];
        if matches!(outcome, Outcome::Caught | Outcome::TimedOut) {
            continue;
        }
        alive += &format!("{}\n", mutant.name);
        let reached = if *outcome == Outcome::Unreached { " (no test comes by)" } else { "" };
        match explained.reason(&mutant.name) {
            Some(reason) => println!("lives: {}:{}: {}{reached}: {reason}", mutant.path, mutant.line, mutant.name),
            None => {
                unexplained += 1;
                println!("LIVES: {}:{}: {}{reached}", mutant.path, mutant.line, mutant.name);
            }
        }
    }
    let aside =
        tree.mutants.iter().enumerate().filter(|(id, mutant)| !chosen(id) && lived.contains(mutant.name.as_str()));
    let still: String = aside.map(|(_, mutant)| format!("{}\n", mutant.name)).collect();
    fs::write(&lived_file, still + &alive)?;
    let listed: String = unviable.iter().map(|id| format!("{}\n", tree.mutants[*id].name)).collect();
    fs::write(target.join("not-viable.txt"), listed)?;

    // An explanation of a mutant that wasn't chosen may stay; one of a mutant that isn't there may not.
    let names: HashSet<&str> = tree.mutants.iter().map(|mutant| mutant.name.as_str()).collect();
    let seen = viable.iter().chain(&unviable).map(|id| tree.mutants[*id].name.as_str()).collect::<HashSet<_>>();
    let living: HashSet<&str> = alive.lines().collect();
    let stale: Vec<&str> = explained
        .names()
        .filter(|name| !names.contains(name) || seen.contains(name) && !living.contains(name))
        .collect();
    for name in &stale {
        println!("STALE: survivors.txt explains what does not live: {name}");
    }

    let count = |wanted| outcomes.iter().filter(|outcome| **outcome == wanted).count();
    let (caught, late) = (count(Outcome::Caught), count(Outcome::TimedOut));
    let missed = count(Outcome::Missed) + count(Outcome::Unreached);
    let score = 100.0 * (caught + late) as f64 / viable.len().max(1) as f64;
    println!(
        "{} mutants: {caught} caught, {late} timed out, {missed} missed, {} not viable; {} places in constants left out",
        viable.len() + unviable.len(),
        unviable.len(),
        tree.constant,
    );
    println!(
        "score {score:.1} % after {} s; {unexplained} unexplained, {} explained for nothing",
        from.elapsed().as_secs(),
        stale.len()
    );
    let whole = !wanted.again && wanted.filter.is_empty();
    Ok((!whole || score >= LEAST_SCORE) && unexplained == 0 && stale.is_empty())
}
