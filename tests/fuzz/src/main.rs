//! Runs libFuzzer on the target that `FUZZ_TARGET` names. `tests/run --fuzz` builds and runs it.
#![no_main]

mod targets;

use std::sync::LazyLock;

use libfuzzer_sys::{Corpus, fuzz_target};
use targets::{TARGETS, Target};

static CHOSEN: LazyLock<&Target> = LazyLock::new(|| {
    // What breaks there is caught where photos are decoded; libFuzzer's own hook would end the run before that.
    let end = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |info| {
        if !info.location().is_some_and(|place| place.file().contains("/zune-jpeg-")) {
            end(info);
        }
    }));
    let name = std::env::var("FUZZ_TARGET").unwrap_or_default();
    TARGETS.iter().find(|target| target.name == name).expect("FUZZ_TARGET names no target")
});

fuzz_target!(|bytes: &[u8]| -> Corpus {
    (CHOSEN.run)(bytes);
    Corpus::Keep
});
