//! Which mutant is on: its number in `MUTANT`. With a file named in `MUTANTS_REACHED`, which ones are asked for.

use std::fs::{File, OpenOptions};
use std::io::Write;
use std::sync::LazyLock;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

const UNREAD: u32 = u32::MAX;
const NONE: u32 = u32::MAX - 1;
const RECORDING: u32 = u32::MAX - 2;

static ON: AtomicU32 = AtomicU32::new(UNREAD);
static REACHED: [AtomicBool; MUTANTS] = [const { AtomicBool::new(false) }; MUTANTS];
static FILE: LazyLock<File> = LazyLock::new(|| {
    let path = std::env::var_os("MUTANTS_REACHED").unwrap();
    OpenOptions::new().create(true).append(true).open(path).unwrap()
});

#[inline]
pub fn on(mutant: u32) -> bool {
    let on = ON.load(Ordering::Relaxed);
    on == mutant || on >= RECORDING && asked(mutant, on)
}

#[cold]
fn asked(mutant: u32, mut on: u32) -> bool {
    if on == UNREAD {
        on = match std::env::var("MUTANT") {
            Ok(number) => number.parse().unwrap(),
            Err(_) if std::env::var_os("MUTANTS_REACHED").is_some() => RECORDING,
            Err(_) => NONE,
        };
        ON.store(on, Ordering::Relaxed);
    }
    if on == RECORDING && !REACHED[mutant as usize].swap(true, Ordering::Relaxed) {
        writeln!(&*FILE, "{mutant}").unwrap();
    }
    on == mutant
}
