//! What the image `board` does, out of the same core on this machine.

use std::collections::VecDeque;

use trueonset::clock::{ClockConfig, Oscillator};
use trueonset::frame::{Key, Mark};
use trueonset::health::Health;
use trueonset::lines::{Causes, Decision, Form, Outputs, OutputsConfig, Pins};
use trueonset::link::{LinkConfig, LinkPlan, State, Stored};
use trueonset::pins::Captured;
use trueonset::receiver::Receiver;
use trueonset::time::{Bits, Counter, Instant, TickRate};

use crate::head::ID;
use crate::side::{Answer, Frame, Inputs, Side, Told, Trouble, FED, READY, REARM, RUN, UNREADABLE};

/// Ticks of the board's timer, Hz.
pub(crate) const HZ: u32 = 16_000_000;

/// A simulated board.
pub(crate) struct SimulatedBoard {
    link: LinkConfig,
    stage: OutputsConfig,
    counter: Counter,
    receiver: Receiver,
    outputs: Outputs,
    heard: VecDeque<(u32, Frame)>,
    said: Option<(State, Causes, Pins)>,
    /// What the image logs, a line a record, as `defmt` shows it.
    pub(crate) log: String,
}

impl SimulatedBoard {
    /// A board that has just got power, its timer at `start`.
    pub(crate) fn new(key: [u8; 16], start: u64) -> Result<Self, Trouble> {
        let rate = TickRate::from_hz(HZ)?;
        let link = LinkConfig::new(rate, LinkPlan::INFRARED)?;
        let clock = ClockConfig::new(rate, LinkPlan::INFRARED.slot_ns, Oscillator::CRYSTAL)?;
        let record = Mark::default().record(ID);
        let stored = Stored::read(&link, [&record, &record], ID);
        Ok(Self {
            link,
            stage: OutputsConfig::new(rate, Form::Levels, 1_000_000)?,
            counter: Counter::new(Bits::B32, Instant::from_ticks(start))
                .allowing_back_step(u32::MAX),
            receiver: Receiver::new(Key::new(key)?, ID, clock, stored),
            outputs: Outputs::new(),
            heard: VecDeque::new(),
            said: None,
            log: "TEST KEY: pair a key of its own before this goes into a machine\n".to_owned(),
        })
    }
}

impl Side for SimulatedBoard {
    fn captured(&mut self, _: Captured) -> Result<(), Trouble> {
        // A board has no barrier: its interrupt drops edges.
        Ok(())
    }

    fn heard(&mut self, count: u32, frame: &Frame) -> Result<(), Trouble> {
        // The port of the board has room for four frames.
        if self.heard.len() < 4 {
            self.heard.push_back((count, *frame));
        }
        Ok(())
    }

    fn go(&mut self, tick: u64, inputs: Inputs) -> Result<Answer, Trouble> {
        let now = self.counter.widen(tick as u32).at;
        let mut answer = Answer::default();
        for (count, frame) in std::mem::take(&mut self.heard) {
            let arrival = self.counter.widen(count).at;
            let _ = self.receiver.frame(&self.link, now, arrival, &frame);
        }
        while let Some(edge) = self.receiver.poll(&self.link, now) {
            self.log += &format!("{edge:?}\n");
            answer.told.push(Told::from(&edge));
        }
        if let Some(cause) = self.outputs.read_back(&self.stage, inputs.seen(), now) {
            self.receiver.latch(cause);
        }
        let unreadable = inputs.pins & UNREADABLE != 0;
        if let Some(came) = self.receiver.rearm(&self.link, now, inputs.rearm()) {
            self.log += &format!("re-arm {came:?}\n");
        }
        if let Some(write) = self.receiver.want() {
            self.receiver.stored(write.mark);
        }
        let vitals = self.receiver.vitals();
        let causes = self.receiver.causes();
        let health = Health::of(causes, unreadable).link(&vitals);
        let decision = health.gate(self.receiver.lines(&self.link, now));
        let set = self.outputs.set(&self.stage, decision, now);
        let news = (vitals.state, causes, set.pins);
        if self.said.replace(news) != Some(news) {
            self.log += &format!("{:?} {:?} {:?}\n", news.0, news.1, news.2);
        }
        let shown = if set.pins.ready {
            decision
        } else {
            Decision::STOP
        };
        for (on, pin) in [
            (set.pins.ready, READY),
            (set.pins.run, RUN),
            (set.feed_watchdog, FED),
        ] {
            answer.pins |= if on { pin } else { 0 };
        }
        let due = self.receiver.deadline(&self.link);
        answer.wake = due.into_iter().chain(set.again).min().map(Instant::ticks);
        answer.valid_until = shown.valid_until.map(Instant::ticks);
        answer.latched = causes.bits() as u8;
        Ok(answer)
    }
}
