//! The command line's entry.

use std::process::ExitCode;

fn main() -> ExitCode {
    palpebra::cli::main()
}
