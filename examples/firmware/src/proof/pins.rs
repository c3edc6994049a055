//! Pins and queues, every entry, with arguments that nobody knows.

use core::hint::black_box;

use embedded_hal::digital::{Error, ErrorKind, ErrorType, InputPin, OutputPin};
use trueonset::lines::{Form, Outputs, OutputsConfig, Pins};
use trueonset::pins::{Captured, EdgeQueue, Input, Intake, NoPin, ReadBack, SharedQueue, Stage};
use trueonset::time::{Bits, Counter};

use super::{any, instant, level, rate, yes};

/// A pin of which nothing is known, not even whether it works.
struct Pin;

#[derive(Debug)]
struct Broken;

impl Error for Broken {
    fn kind(&self) -> ErrorKind {
        ErrorKind::Other
    }
}

impl ErrorType for Pin {
    type Error = Broken;
}

impl InputPin for Pin {
    fn is_high(&mut self) -> Result<bool, Broken> {
        yes().then(yes).ok_or(Broken)
    }

    fn is_low(&mut self) -> Result<bool, Broken> {
        self.is_high()
    }
}

impl OutputPin for Pin {
    fn set_low(&mut self) -> Result<(), Broken> {
        yes().then_some(()).ok_or(Broken)
    }

    fn set_high(&mut self) -> Result<(), Broken> {
        self.set_low()
    }
}

static SHARED: SharedQueue<5> = SharedQueue::new();

/// All of it.
pub(crate) fn all() {
    let mut queue = EdgeQueue::<8>::new();
    let (mut into, mut out) = queue.split();
    let mut intake = Intake::new(Counter::new(Bits::B16, instant()));
    let mut input = Input::new(Pin);
    let mut stage = Stage::new(Pin, Pin, NoPin);
    let mut seen = ReadBack::new(Pin, Pin, NoPin);
    let mut outputs = Outputs::new();
    while yes() {
        let captured = Captured {
            raw: any(),
            level: level(),
            over: yes(),
        };
        into.put(captured);
        SHARED.put(captured);
        for taken in [out.take(), SHARED.take()].into_iter().flatten() {
            black_box(intake.edge(taken));
        }
        black_box((
            out.lost(),
            out.waiting(),
            SHARED.lost(),
            intake.now(any()).at,
        ));
        black_box(intake.overflowed(any(), instant(), level()));
        black_box((
            input.read(),
            input.level(),
            input.poll(instant()),
            input.failures(),
        ));
        let pins = Pins {
            ready: yes(),
            run: yes(),
            stop: yes(),
        };
        black_box((stage.write(pins).is_ok(), seen.read().is_ok()));
        if let Ok(config) = OutputsConfig::new(rate(), Form::Levels, any()) {
            black_box(seen.check(&mut outputs, &config, instant()));
        }
    }
}
