//! The drawn course of operations on this machine: `operations SEED COUNT [CHANGED]`.
//!
//! A line after every 100 000: how many are done, and the digest of all that they told. The image
//! `ops` prints the same lines on a board. The operation of number CHANGED is another than the
//! seed has it, to show that the digest tells.

use std::process::ExitCode;

fn main() -> ExitCode {
    let numbers: Result<Vec<u64>, _> = std::env::args().skip(1).map(|word| word.parse()).collect();
    let (seed, count, changed) = match numbers.as_deref() {
        Ok([seed, count]) => (*seed, *count, None),
        Ok([seed, count, changed]) => (*seed, *count, Some(*changed)),
        _ => {
            eprintln!("usage: operations SEED COUNT [CHANGED], whole numbers");
            return ExitCode::from(2);
        }
    };
    trueonset_ops::run(seed, count, changed, |done, digest| {
        println!("{done} {digest:016x}");
    });
    ExitCode::SUCCESS
}
