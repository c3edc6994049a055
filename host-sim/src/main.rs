//! The program `trueonset`; everything is in the library.
#![forbid(unsafe_code)]

use std::process::ExitCode;

fn main() -> ExitCode {
    trueonset_sim::cli::main()
}
