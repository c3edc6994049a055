//! What the image `wired` does, out of the same core on this machine.

use trueonset::frame::Contact;
use trueonset::health::Health;
use trueonset::lines::{Causes, Form, Outputs, OutputsConfig};
use trueonset::onset::{Config, Doubt, Event};
use trueonset::pins::Captured;
use trueonset::time::{Instant, TickRate};
use trueonset::wired::{Wired, WiredConfig, WiredPlan};

use crate::board::HZ;
use crate::eye::Eye;
use crate::side::{Answer, Frame, Inputs, Side, Told, Trouble, FED, POWER, UNREADABLE, UNWRITABLE};

/// A simulated board of a wired probe.
pub(crate) struct SimulatedWired {
    plan: WiredConfig,
    stage: OutputsConfig,
    /// 7 edges in 500 µs, one more and 16: the image has a lock-free queue of one place more.
    eye: Eye<24>,
    begun: bool,
    wired: Wired,
    outputs: Outputs,
    /// Output pins.
    pins: u8,
}

impl SimulatedWired {
    /// A board that has just got power.
    pub(crate) fn new() -> Result<Self, Trouble> {
        let rate = TickRate::from_hz(HZ)?;
        let mut plan = WiredPlan::USUAL;
        plan.poll_ns = 500_000;
        Ok(Self {
            plan: WiredConfig::new(rate, plan)?,
            stage: OutputsConfig::new(rate, Form::Levels, 1_000_000)?,
            eye: Eye::new(Config::new(rate, 1_000_000)?),
            begun: false,
            wired: Wired::new(),
            outputs: Outputs::new(),
            pins: 0,
        })
    }

    fn tell(&mut self, now: Instant, event: &Event) {
        let (touched, contact) = match event {
            Event::Touch(contact) => (true, contact),
            Event::Release(contact) => (false, contact),
            _ => return,
        };
        let doubt = contact.doubt.map(Doubt::sixteenths);
        let bound = doubt.map_or(16_000, |sixteenths| sixteenths.div_ceil(16) * 3);
        self.wired
            .edge(now, touched, contact.onset.nearest(), bound);
    }
}

impl Side for SimulatedWired {
    fn captured(&mut self, edge: Captured) -> Result<(), Trouble> {
        self.eye.captured(edge);
        Ok(())
    }

    fn heard(&mut self, _: u32, _: &Frame) -> Result<(), Trouble> {
        Ok(())
    }

    fn restart(&mut self) -> Result<(), Trouble> {
        self.eye.restart();
        self.begun = false;
        self.wired = Wired::new();
        self.outputs = Outputs::new();
        self.pins = 0;
        Ok(())
    }

    fn go(&mut self, tick: u64, inputs: Inputs) -> Result<Answer, Trouble> {
        let now = if std::mem::replace(&mut self.begun, true) {
            self.eye.now(tick)
        } else {
            if inputs.pins & POWER == 0 {
                self.wired.latch(Causes::RESTART);
            }
            self.eye.first(tick, inputs)
        };
        for event in self.eye.pass(now, inputs) {
            self.tell(now, &event);
        }
        let contact = self.eye.contact();
        self.wired.observe(now, contact, contact != Contact::Fault);
        let mut answer = Answer::default();
        while let Some(edge) = self.wired.poll(&self.plan, now) {
            answer.told.push(Told::from(&edge));
        }
        if let Some(cause) = self.outputs.read_back(&self.stage, inputs.seen(), now) {
            self.wired.latch(cause);
        }
        let unreadable = inputs.pins & UNREADABLE != 0;
        let _ = self.wired.rearm(&self.plan, now, inputs.rearm());
        let causes = self.wired.causes();
        let fault = unreadable || contact == Contact::Fault;
        let decision = Health::of(causes, fault).gate(self.wired.lines(&self.plan, now));
        // What is decided at the begin of a pass is shown at its end, if it holds until then.
        let at = self.eye.now(inputs.read_again(tick).into());
        let set = self.outputs.set(&self.stage, decision, at);
        self.pins = inputs.driven(set.pins, self.pins);
        let lost = inputs.pins & UNWRITABLE != 0;
        if lost {
            self.wired.latch(Causes::READ_BACK);
        }
        answer.pins = self.pins | if set.feed_watchdog { FED } else { 0 };
        let until = decision.valid_until.filter(|_| set.pins.ready && !lost);
        answer.valid_until = until.map(Instant::ticks);
        answer.latched = self.wired.causes().bits() as u8;
        // It looks at the probe every millisecond.
        let due = [
            self.wired.deadline(&self.plan),
            self.eye.deadline(),
            set.again,
        ];
        let due = due.into_iter().flatten().map(Instant::ticks);
        answer.wake = due.chain([now.ticks() + 16_000]).min();
        Ok(answer)
    }
}
