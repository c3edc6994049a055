//! What the board does in a pass, whatever shell it runs in.

use core::mem::MaybeUninit;

use trueonset::checked;
use trueonset::clock::{ClockConfig, Oscillator};
use trueonset::health::Health;
use trueonset::lines::{Causes, Form, OutputsConfig, Pins};
use trueonset::link::{LinkConfig, LinkPlan, State};
use trueonset::pins::{Capture, Intake, NoPin, ReadBack, Records, Sleep, Stage, Terminal};
use trueonset::receiver::{Receiver, ReceiverConfig};
use trueonset::time::{Bits, Counter, Instant, TickRate};

use crate::key::KEY;
use crate::machine::{self, CaptureUnit, Flash, Input, Output};

/// Number of the probe.
const ID: u16 = 0x5A5;
/// Ticks of the capture timer. A slot must be a whole number of them.
const RATE: TickRate = checked!(TickRate::from_hz(16_000_000));
/// The longest pass of the loop fits into `poll_ns`; a touch that falls into one stops the line in
/// time all the same, by the compare unit.
const PLAN: LinkPlan = LinkPlan {
    poll_ns: 1_000_000,
    ..LinkPlan::INFRARED
};
const LINK: LinkConfig = checked!(LinkConfig::new(RATE, PLAN));
const CLOCK: ClockConfig = checked!(ClockConfig::new(RATE, PLAN.slot_ns, Oscillator::CRYSTAL));
const PROBE: ReceiverConfig = checked!(ReceiverConfig::new(&LINK, ID, CLOCK));
const OUTPUTS: OutputsConfig = checked!(OutputsConfig::new(RATE, Form::Levels, 1_000_000));

/// For a watchdog that bites after 40 ms, before D is over.
const SLEEP: Sleep = checked!(Sleep::new(RATE, Bits::B32, 40_000_000));

/// Until when to sleep, until when the lines may stand, and the latch.
pub type Next = (Instant, Option<Instant>, Causes);

/// The board.
pub struct Board<'a> {
    /// The link; a shell may latch it.
    pub receiver: &'a mut Receiver,
    intake: Intake,
    terminal: Terminal<Input, Stage<Output, Output, NoPin>, ReadBack<Input, Input, NoPin>>,
    said: Option<(State, Causes, Pins, u32)>,
}

impl<'a> Board<'a> {
    /// After the timer has started. The receiver does not lie on the stack, so that the size of
    /// the image tells of it.
    pub fn new(place: &'a mut MaybeUninit<Receiver>) -> Self {
        defmt::warn!("TEST KEY: pair a key of its own before this goes into a machine");
        let stage = Stage::new(Output::READY, Output::RUN, NoPin);
        let seen = ReadBack::new(Input::READY, Input::RUN, NoPin);
        Self {
            receiver: begin(place),
            intake: Intake::new(Counter::behind_a_queue(Bits::B32, CaptureUnit.count())),
            terminal: Terminal::new(Input::REARM, stage, seen),
            said: None,
        }
    }

    /// One pass of the main loop.
    #[inline(never)]
    pub fn pass(&mut self) -> Next {
        let stamp = self.intake.now(CaptureUnit.count());
        let now = stamp.at;
        if !stamp.faults.is_empty() {
            // Half a turn late, so that the time is in doubt.
            self.receiver.latch(Causes::TIME);
        }
        while let Some((raw, frame)) = machine::heard() {
            let arrival = self.intake.now(raw).at;
            let _ = self.receiver.frame(&LINK, now, arrival, &frame);
        }
        while let Some(edge) = self.receiver.poll(&LINK, now) {
            machine::tell(&edge);
            defmt::info!("{}", edge);
        }
        let looked = self.terminal.look(&OUTPUTS, self.receiver, &LINK, now);
        if let Some(came) = looked.rearmed {
            defmt::info!("re-arm {}", came);
        }
        let (vitals, causes) = (self.receiver.vitals(&LINK, now), self.receiver.causes());
        let health = Health::of(causes, looked.fault).link(&vitals);
        let cut = |until| self.intake.now(machine::drop_after(until)).at;
        let terminal = &mut self.terminal;
        let set = terminal.show(&OUTPUTS, self.receiver, &LINK, now, &health, cut);
        if set.feed_watchdog {
            machine::feed_watchdog();
        }
        let (state, lost) = (vitals.state, machine::frames_lost());
        let news = (state, causes, set.pins, lost);
        if self.said.replace(news) != Some(news) {
            defmt::info!("{} {} {}, {} frames lost", state, causes, set.pins, lost);
        }
        // Slow, so after the pins.
        Flash.keep(self.receiver, ID);
        let due = [self.receiver.deadline(&LINK), set.again];
        (SLEEP.until(now, due), set.valid_until, causes)
    }
}

/// Apart from the loop, so that what it needs on the stack is free again.
#[inline(never)]
fn begin(place: &mut MaybeUninit<Receiver>) -> &mut Receiver {
    let receiver = place.write(Receiver::new(&PROBE, KEY, Flash.stored(&LINK, ID)));
    // What was latched before a start by the watchdog is not known.
    if !machine::had_no_power() {
        receiver.latch(Causes::RESTART);
    }
    receiver
}
