//! What verbs that compute for long share: a report that can be written, an interruption, progress.

use std::fs::File;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::Arc;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};

use crate::fault::Fault;

/// Hours of computing must not end at a report that cannot be written.
pub(super) fn writable(path: &Path) -> Result<(), Fault> {
    let opened = File::options().create(true).append(true).open(path);
    opened
        .map(|_| ())
        .map_err(|why| Fault::io(&path.display().to_string(), "write", &why))
}

/// A flag that an interruption (Ctrl-C) raises; a second one ends the program at once.
pub(super) fn stop_on_interrupt() -> Result<Arc<AtomicBool>, Fault> {
    let stop = Arc::new(AtomicBool::new(false));
    let raised = Arc::clone(&stop);
    ctrlc::set_handler(move || {
        if raised.swap(true, Ordering::Relaxed) {
            std::process::exit(2);
        }
    })
    .map_err(|why| {
        Fault::new(
            why.to_string(),
            "a system that lets Ctrl-C be caught",
            "report this fault, it is one of the program",
        )
    })?;
    Ok(stop)
}

/// Progress with rate and time left; draws on stderr, and only if that is a terminal.
pub(super) fn bar(touches: u64) -> ProgressBar {
    let bar = ProgressBar::new(touches);
    let template = "{wide_bar} {human_pos} of {human_len} touches, {per_sec}, {eta} left";
    if let Ok(style) = ProgressStyle::with_template(template) {
        bar.set_style(style);
    }
    // Slow cells count few touches a second; the clock goes on all the same.
    bar.enable_steady_tick(Duration::from_millis(250));
    bar
}
