//! The log: what changed, in a few bytes each. It never waits for a reader.

use trueonset::lines::{Causes, Decision, Rearmed};
use trueonset::link::State;
use trueonset::playout::PlayedEdge;

use crate::machine;

/// What was said last.
pub struct Log {
    said: Option<(State, Causes, bool, bool)>,
}

impl Log {
    /// Nothing said.
    pub const fn new() -> Self {
        Self { said: None }
    }

    /// An edge that left for the control.
    pub fn edge(&self, edge: &PlayedEdge) {
        defmt::info!("{}", edge);
    }

    /// What came of a rise of the re-arm wire.
    pub fn rearmed(&self, came: Rearmed) {
        match came {
            Ok(()) => defmt::info!("armed"),
            Err(why) => defmt::warn!("not armed: {}", why),
        }
    }

    /// Link, latch and lines, where any has changed.
    pub fn state(&mut self, state: State, causes: Causes, shown: Decision) {
        let now = Some((state, causes, shown.ready, shown.run));
        if self.said != now {
            self.said = now;
            defmt::info!(
                "{} {} ready {} run {}",
                state,
                causes,
                shown.ready,
                shown.run
            );
        }
    }
}

/// Hands the log to the channel for it, here a second UART; on a bench it is usually RTT.
#[defmt::global_logger]
struct Channel;

/// How the log is made safe to read; only used inside a critical section.
static mut ENCODER: defmt::Encoder = defmt::Encoder::new();
static mut RESTORE: critical_section::RestoreState = critical_section::RestoreState::invalid();

// SAFETY: the whole of a record lies inside one critical section, and no interrupt logs.
unsafe impl defmt::Logger for Channel {
    fn acquire() {
        unsafe {
            RESTORE = critical_section::acquire();
            (*(&raw mut ENCODER)).start_frame(send);
        }
    }

    unsafe fn flush() {}

    unsafe fn release() {
        (*(&raw mut ENCODER)).end_frame(send);
        critical_section::release(RESTORE);
    }

    unsafe fn write(bytes: &[u8]) {
        (*(&raw mut ENCODER)).write(bytes, send);
    }
}

fn send(bytes: &[u8]) {
    bytes.iter().copied().for_each(machine::log);
}
