//! What the image `board` does, out of the same core on this machine.

use std::collections::VecDeque;

use trueonset::clock::{ClockConfig, Oscillator};
use trueonset::frame::{Key, Mark};
use trueonset::health::Health;
use trueonset::lines::{Causes, Decision, Form, Outputs, OutputsConfig, Pins};
use trueonset::link::{LinkConfig, LinkPlan, State, Stored, RECORD};
use trueonset::pins::Captured;
use trueonset::receiver::{Receiver, ReceiverConfig};
use trueonset::time::{Bits, Counter, Instant, TickRate};

use crate::head::ID;
use crate::side::{Answer, Frame, Inputs, Side, Told, Trouble, FED, POWER, UNREADABLE, UNWRITABLE};

/// Ticks of the board's timer, Hz.
pub(crate) const HZ: u32 = 16_000_000;

/// A simulated board.
pub(crate) struct SimulatedBoard {
    key: [u8; 16],
    link: LinkConfig,
    clock: ClockConfig,
    stage: OutputsConfig,
    records: [[u8; RECORD]; 2],
    life: Option<Life>,
    heard: VecDeque<(u32, Frame)>,
    lost: u32,
    /// What the image logs, a line a record, as `defmt` shows it.
    pub(crate) log: String,
}

/// From one start to the next.
struct Life {
    counter: Counter,
    receiver: Receiver,
    outputs: Outputs,
    said: Option<(State, Causes, Pins, u32)>,
    /// Output pins.
    pins: u8,
}

impl SimulatedBoard {
    /// A board that has just got power.
    pub(crate) fn new(key: [u8; 16]) -> Result<Self, Trouble> {
        let rate = TickRate::from_hz(HZ)?;
        let mut plan = LinkPlan::INFRARED;
        plan.poll_ns = 1_000_000;
        Ok(Self {
            key,
            link: LinkConfig::new(rate, plan)?,
            clock: ClockConfig::new(rate, plan.slot_ns, Oscillator::CRYSTAL)?,
            stage: OutputsConfig::new(rate, Form::Levels, 1_000_000)?,
            records: [Mark::default().record(ID); 2],
            life: None,
            heard: VecDeque::new(),
            lost: 0,
            log: String::new(),
        })
    }

    fn begin(&mut self, tick: u64, power: bool) -> Result<Life, Trouble> {
        self.log += "TEST KEY: pair a key of its own before this goes into a machine\n";
        let stored = Stored::read(&self.link, [&self.records[0], &self.records[1]], ID);
        let probe = ReceiverConfig::new(&self.link, ID, self.clock)?;
        let mut receiver = Receiver::new(&probe, Key::new(self.key)?, stored);
        if !power {
            receiver.latch(Causes::RESTART);
        }
        Ok(Life {
            counter: Counter::behind_a_queue(Bits::B32, tick as u32),
            receiver,
            outputs: Outputs::new(),
            said: None,
            pins: 0,
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
        } else {
            self.lost += 1;
        }
        Ok(())
    }

    fn restart(&mut self) -> Result<(), Trouble> {
        self.life = None;
        self.heard.clear();
        self.lost = 0;
        Ok(())
    }

    fn go(&mut self, tick: u64, inputs: Inputs) -> Result<Answer, Trouble> {
        let mut life = match self.life.take() {
            Some(life) => life,
            None => self.begin(tick, inputs.pins & POWER != 0)?,
        };
        let (counter, receiver) = (&mut life.counter, &mut life.receiver);
        let stamp = counter.widen(tick as u32);
        let now = stamp.at;
        if !stamp.faults.is_empty() {
            receiver.latch(Causes::TIME);
        }
        let mut answer = Answer::default();
        for (count, frame) in std::mem::take(&mut self.heard) {
            let arrival = counter.widen(count).at;
            let _ = receiver.frame(&self.link, now, arrival, &frame);
        }
        while let Some(edge) = receiver.poll(&self.link, now) {
            self.log += &format!("{edge:?}\n");
            answer.told.push(Told::from(&edge));
        }
        if let Some(cause) = life.outputs.read_back(&self.stage, inputs.seen(), now) {
            receiver.latch(cause);
        }
        let unreadable = inputs.pins & UNREADABLE != 0;
        if let Some(came) = receiver.rearm(&self.link, now, inputs.rearm()) {
            self.log += &format!("re-arm {came:?}\n");
        }
        let vitals = receiver.vitals(&self.link, now);
        let causes = receiver.causes();
        let health = Health::of(causes, unreadable).link(&vitals);
        let decision = health.gate(receiver.lines(&self.link, now));
        // What is decided at the begin of a pass is shown at its end, if it holds until then.
        let at = counter.widen(inputs.read_again(tick)).at;
        let set = life.outputs.set(&self.stage, decision, at);
        let news = (vitals.state, causes, set.pins, self.lost);
        if life.said.replace(news) != Some(news) {
            let (state, causes, pins, lost) = news;
            self.log += &format!("{state:?} {causes:?} {pins:?}, {lost} frames lost\n");
        }
        if let Some(write) = receiver.want() {
            let place = usize::from(write.place);
            self.records[place] = write.mark.record(ID);
            if write.both {
                self.records[place ^ 1] = self.records[place];
            }
            receiver.stored(write.mark);
        }
        let shown = if set.pins.ready && inputs.pins & UNWRITABLE == 0 {
            decision
        } else {
            Decision::STOP
        };
        life.pins = inputs.driven(set.pins, life.pins);
        if inputs.pins & UNWRITABLE != 0 {
            receiver.latch(Causes::READ_BACK);
        }
        answer.pins = life.pins | if set.feed_watchdog { FED } else { 0 };
        // The watchdog is fed within 20 ms.
        let due = [receiver.deadline(&self.link), set.again];
        let due = due.into_iter().flatten().map(Instant::ticks);
        answer.wake = due.chain([now.ticks() + 320_000]).min();
        answer.valid_until = shown.valid_until.map(Instant::ticks);
        answer.latched = causes.bits() as u8;
        self.life = Some(life);
        Ok(answer)
    }
}
