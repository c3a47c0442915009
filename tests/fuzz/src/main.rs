//! Runs libFuzzer on the target that `FUZZ_TARGET` names. `tests/run --fuzz` builds and runs it.
#![no_main]

mod targets;

use std::sync::LazyLock;

use libfuzzer_sys::{Corpus, fuzz_target};
use targets::{TARGETS, Target};

static CHOSEN: LazyLock<&Target> = LazyLock::new(|| {
    let name = std::env::var("FUZZ_TARGET").unwrap_or_default();
    TARGETS.iter().find(|target| target.name == name).expect("FUZZ_TARGET names no target")
});

fuzz_target!(|bytes: &[u8]| -> Corpus {
    (CHOSEN.run)(bytes);
    Corpus::Keep
});
