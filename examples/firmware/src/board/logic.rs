//! What the board does in a pass, whatever shell it runs in.

use core::mem::MaybeUninit;

use trueonset::clock::{ClockConfig, Oscillator};
use trueonset::edge::Level;
use trueonset::health::Health;
use trueonset::lines::{Causes, Form, Outputs, OutputsConfig, Pins};
use trueonset::link::{LinkConfig, LinkPlan, State, Stored};
use trueonset::pins::{Capture, Input, Intake, NoPin, ReadBack, Stage};
use trueonset::receiver::Receiver;
use trueonset::time::{Bits, Counter, Instant, TickRate};

use crate::key;
use crate::machine::{self, CaptureUnit};

/// Number of the probe.
const ID: u16 = 0x5A5;

const RATE: TickRate = checked!(TickRate::from_hz(16_000_000), "no ticks");
const LINK: LinkConfig = checked!(
    LinkConfig::new(RATE, LinkPlan::INFRARED),
    "the plan of the link breaks a promise"
);
const CLOCK: ClockConfig = checked!(
    ClockConfig::new(RATE, LinkPlan::INFRARED.slot_ns, Oscillator::CRYSTAL),
    "no clock can follow such slots"
);
const OUTPUTS: OutputsConfig = checked!(
    OutputsConfig::new(RATE, Form::Levels, 1_000_000),
    "no output stage is like that"
);

/// Until when to sleep, until when the lines may stand, and the latch.
pub type Next = (Option<Instant>, Option<Instant>, Causes);

/// The board.
pub struct Board<'a> {
    receiver: &'a mut Receiver,
    intake: Intake,
    rearm: Input<machine::Input>,
    stage: Stage<machine::Output, machine::Output, NoPin>,
    seen: ReadBack<machine::Input, machine::Input, NoPin>,
    outputs: Outputs,
    said: Option<(State, Causes, Pins)>,
}

impl<'a> Board<'a> {
    /// After the timer has started. The receiver does not lie on the stack, so that the size of
    /// the image tells of it.
    pub fn new(place: &'a mut MaybeUninit<Receiver>) -> Self {
        defmt::warn!("TEST KEY: pair a key of its own before this goes into a machine");
        let start = Instant::from_ticks(u64::from(CaptureUnit.count()));
        // Stamps may have waited for a loop that stood, up to a quarter turn.
        let counter = Counter::new(Bits::B32, start).allowing_back_step(u32::MAX);
        Self {
            receiver: begin(place),
            intake: Intake::new(counter),
            rearm: Input::new(machine::Input::REARM),
            stage: Stage::new(machine::Output::READY, machine::Output::RUN, NoPin),
            seen: ReadBack::new(machine::Input::READY, machine::Input::RUN, NoPin),
            outputs: Outputs::new(),
            said: None,
        }
    }

    /// One pass of the main loop.
    #[inline(never)]
    pub fn pass(&mut self) -> Next {
        let now = self.intake.now(CaptureUnit.count()).at;
        while let Some((raw, frame)) = machine::heard() {
            let arrival = self.intake.now(raw).at;
            let _ = self.receiver.frame(&LINK, now, arrival, &frame);
        }
        while let Some(edge) = self.receiver.poll(&LINK, now) {
            machine::tell(&edge);
            defmt::info!("{}", edge);
        }
        if let Some(cause) = self.seen.check(&mut self.outputs, &OUTPUTS, now) {
            self.receiver.latch(cause);
        }
        // A wire that cannot be read neither arms nor runs.
        let wire = self.rearm.read();
        if let Some(came) = self.receiver.rearm(&LINK, now, wire) {
            defmt::info!("re-arm {}", came);
        }
        if let Some(write) = self.receiver.want() {
            let record = write.mark.record(ID);
            machine::write_record(write.place, &record);
            if write.both {
                machine::write_record(write.place ^ 1, &record);
            }
            self.receiver.stored(write.mark);
        }
        let (vitals, causes) = (self.receiver.vitals(), self.receiver.causes());
        let health = Health::of(causes, wire == Level::Unknown).link(&vitals);
        let decision = health.gate(self.receiver.lines(&LINK, now));
        let set = self.outputs.set(&OUTPUTS, decision, now);
        if let Err(cause) = self.stage.write(set.pins) {
            self.receiver.latch(cause);
        }
        if set.feed_watchdog {
            machine::feed_watchdog();
        }
        let news = (vitals.state, causes, set.pins);
        if self.said.replace(news) != Some(news) {
            defmt::info!("{} {} {}", vitals.state, causes, set.pins);
        }
        // What the pins do not show must not be kept up by the compare channel either.
        let until = decision.valid_until.filter(|_| set.pins.ready);
        let due = self
            .receiver
            .deadline(&LINK)
            .into_iter()
            .chain(set.again)
            .min();
        (due, until, causes)
    }
}

/// Apart from the loop, so that what it needs on the stack is free again.
#[inline(never)]
fn begin(place: &mut MaybeUninit<Receiver>) -> &mut Receiver {
    let [one, other] = machine::records(ID);
    let stored = Stored::read(&LINK, [&one, &other], ID);
    place.write(Receiver::new(key::KEY, ID, CLOCK, stored))
}
