//! What the image `wired` does, out of the same core on this machine.

use trueonset::edge::{Edge, Level};
use trueonset::frame::Contact;
use trueonset::health::Health;
use trueonset::lines::{Form, Outputs, OutputsConfig};
use trueonset::onset::{Config, Doubt, Event, Line};
use trueonset::pins::{Captured, Intake, SharedQueue};
use trueonset::time::{Bits, Counter, Instant, TickRate};
use trueonset::wired::{Wired, WiredConfig, WiredPlan};

use crate::board::HZ;
use crate::side::{
    Answer, Frame, Inputs, Side, Told, Trouble, BLOCKED, FED, READY, REARM, RUN, UNREADABLE,
};

/// A simulated board of a wired probe.
pub(crate) struct SimulatedWired {
    hold: Config,
    plan: WiredConfig,
    stage: OutputsConfig,
    intake: Intake,
    /// The image has a lock-free one of 64 places, which hold 63.
    edges: SharedQueue<63>,
    line: Option<Line>,
    wired: Wired,
    outputs: Outputs,
}

impl SimulatedWired {
    /// A board that has just got power, its timer at `start`.
    pub(crate) fn new(start: u64) -> Result<Self, Trouble> {
        let rate = TickRate::from_hz(HZ)?;
        let counter = Counter::new(Bits::B32, Instant::from_ticks(start));
        Ok(Self {
            hold: Config::new(rate, 1_000_000)?,
            plan: WiredConfig::new(rate, WiredPlan::USUAL)?,
            stage: OutputsConfig::new(rate, Form::Levels, 1_000_000)?,
            intake: Intake::new(counter.allowing_back_step(u32::MAX)),
            edges: SharedQueue::new(),
            line: None,
            wired: Wired::new(),
            outputs: Outputs::new(),
        })
    }

    fn tell(&mut self, now: Instant, event: Option<Event>) {
        let (touched, contact) = match event {
            Some(Event::Touch(contact)) => (true, contact),
            Some(Event::Release(contact)) => (false, contact),
            _ => return,
        };
        let doubt = contact.doubt.map(Doubt::sixteenths);
        let bound = doubt.map_or(16_000, |sixteenths| sixteenths.div_ceil(16) * 3);
        self.wired
            .edge(now, touched, contact.onset.nearest(), bound);
    }
}

impl Side for SimulatedWired {
    fn captured(&mut self, count: u32, level: bool) -> Result<(), Trouble> {
        self.edges.put(Captured {
            raw: count,
            level: Level::from(level),
            over: false,
        });
        Ok(())
    }

    fn heard(&mut self, _: u32, _: &Frame) -> Result<(), Trouble> {
        Err("a probe on a cable hears nothing".into())
    }

    fn go(&mut self, tick: u64, inputs: Inputs) -> Result<Answer, Trouble> {
        let now = self.intake.now(tick as u32).at;
        let blocked = Level::from(inputs.pins & BLOCKED != 0);
        let hold = self.hold;
        let line = self.line.take();
        let mut line = line.unwrap_or_else(|| Line::new(&hold, blocked, now));
        let mut edges: Vec<Edge> = Vec::new();
        while let Some(captured) = self.edges.take() {
            edges.push(self.intake.edge(captured));
        }
        let lost = self.edges.lost();
        edges.extend(
            self.intake
                .overflowed(lost, now, blocked)
                .into_iter()
                .flatten(),
        );
        for edge in edges {
            self.tell(now, line.edge(&hold, edge));
        }
        self.tell(now, line.poll(&hold, now));
        let unreadable = inputs.pins & UNREADABLE != 0;
        let contact = match (line.open_since(), line.in_contact()) {
            _ if unreadable => Contact::Fault,
            (Some(_), _) => Contact::Between,
            (None, true) => Contact::Touched,
            (None, false) => Contact::Open,
        };
        self.wired.observe(now, contact, !unreadable);
        let mut answer = Answer::default();
        while let Some(edge) = self.wired.poll(&self.plan, now) {
            answer.told.push(Told::from(&edge));
        }
        if let Some(cause) = self.outputs.read_back(&self.stage, inputs.seen(), now) {
            self.wired.latch(cause);
        }
        let wire = unreadable || inputs.pins & REARM != 0;
        let _ = self.wired.rearm(&self.plan, now, wire);
        let causes = self.wired.causes();
        let decision = Health::of(causes, unreadable).gate(self.wired.lines(&self.plan, now));
        let set = self.outputs.set(&self.stage, decision, now);
        for (on, pin) in [
            (set.pins.ready, READY),
            (set.pins.run, RUN),
            (set.feed_watchdog, FED),
        ] {
            answer.pins |= if on { pin } else { 0 };
        }
        let until = decision.valid_until.filter(|_| set.pins.ready);
        answer.valid_until = until.map(Instant::ticks);
        answer.latched = causes.bits() as u8;
        // It looks at the probe every millisecond.
        let due = [self.wired.deadline(&self.plan), line.deadline(), set.again];
        let due = due.into_iter().flatten().map(Instant::ticks);
        answer.wake = due.chain([now.ticks() + 16_000]).min();
        self.line = Some(line);
        Ok(answer)
    }
}
