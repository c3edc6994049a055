//! A probe on a cable, and the output stage in its other forms.

use core::fmt::Write;

use trueonset::frame::Contact;
use trueonset::lines::{Causes, Form, Outputs, OutputsConfig, Pins};
use trueonset::time::{Instant, TickRate};
use trueonset::wired::{Wired, WiredConfig, WiredPlan};

use crate::{tell, Draw};

const RATE_HZ: u32 = 1_000_000;

/// A board of a probe on a cable.
pub(crate) struct Room {
    now: u64,
    rate: TickRate,
    config: Option<WiredConfig>,
    wired: Wired,
    stage: Option<OutputsConfig>,
    outputs: Outputs,
    pins: Pins,
    touched: bool,
    wire: bool,
}

impl Room {
    pub(crate) fn new(draw: &mut Draw) -> Self {
        let rate = TickRate::from_hz(RATE_HZ).unwrap_or(TickRate::NANOSECONDS);
        Self {
            now: draw.sized64() >> 2,
            rate,
            config: WiredConfig::new(rate, WiredPlan::USUAL).ok(),
            wired: Wired::new(),
            stage: None,
            outputs: Outputs::new(),
            pins: Pins::default(),
            touched: false,
            wire: false,
        }
    }

    pub(crate) fn step(&mut self, draw: &mut Draw, told: &mut impl Write) {
        let (Some(config), Some(stage)) = (self.config, self.stage) else {
            return self.renew(draw, told);
        };
        self.now += u64::from(if draw.one_in(64) {
            draw.below(9_000)
        } else {
            draw.below(400)
        });
        let now = Instant::from_ticks(self.now);
        match draw.below(32) {
            0 => self.wire = !self.wire,
            1..=2 => {
                self.touched = !self.touched;
                let onset = Instant::from_ticks(self.now.saturating_sub(draw.below(2_000).into()));
                self.wired.edge(now, self.touched, onset, draw.below(20));
            }
            3 if draw.one_in(64) => self.wired.latch(Causes::READ_BACK),
            4 if draw.one_in(64) => return self.renew(draw, told),
            _ => {}
        }
        let contact = match draw.below(64) {
            0 => Contact::Fault,
            1 => Contact::Between,
            _ if self.touched => Contact::Touched,
            _ => Contact::Open,
        };
        self.wired.observe(now, contact, contact != Contact::Fault);
        while let Some(edge) = self.wired.poll(&config, now) {
            tell!(told, edge);
        }
        if !draw.one_in(512) {
            if let Some(cause) = self.outputs.read_back(&stage, self.pins, now) {
                self.wired.latch(cause);
            }
        }
        tell!(told, self.wired.rearm(&config, now, self.wire.into()));
        let decision = self.wired.lines(&config, now);
        let set = self.outputs.set(&stage, decision, now);
        self.pins = set.pins;
        tell!(told, decision, decision.at(now), set, self.wired.causes());
        tell!(told, self.wired.deadline(&config));
    }

    /// A board with other settings, which may not hold.
    fn renew(&mut self, draw: &mut Draw, told: &mut impl Write) {
        let mut plan = WiredPlan::USUAL;
        if draw.yes() {
            plan.delay_ns = draw.below(20_000_000);
            plan.dead_ns = draw.below(9_000_000);
            plan.open_observations = draw.below(9) as u8;
        }
        let form = match draw.below(3) {
            0 => Form::Levels,
            1 => Form::Complementary,
            _ => Form::Pulsed {
                half_ns: draw.below(4_000_000),
            },
        };
        let made = WiredConfig::new(self.rate, plan);
        let stage = OutputsConfig::new(self.rate, form, draw.below(3_000_000));
        tell!(told, made, stage);
        (self.config, self.stage) = (made.ok(), stage.ok());
        (self.wired, self.outputs) = (Wired::new(), Outputs::new());
    }
}
