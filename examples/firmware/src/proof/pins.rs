//! Pins and queues, every entry, with arguments that nobody knows.

use core::future::{poll_fn, Future};
use core::hint::black_box;
use core::pin::pin;
use core::task::{Context, Poll, Waker};

use embedded_hal::digital::{Error, ErrorKind, ErrorType, InputPin, OutputPin};
use embedded_hal_async::digital::Wait;
use trueonset::health::Health;
use trueonset::lines::{Causes, Form, Outputs, OutputsConfig, Pins};
use trueonset::link::RECORD;
use trueonset::onset::Config;
use trueonset::pins::{
    extended, serve, Capture, Captured, Channels, Comparator, Decides, EdgeQueue, Input, Intake,
    LoopEnd, NoPin, Polled, ReadBack, Records, SharedQueue, Sleep, Stage, Terminal,
};
use trueonset::time::{Bits, Counter, Instant};
use trueonset::wired::{Wired, WiredConfig, WiredPlan};

use super::link::bytes;
use super::{any, any64, instant, level, rate, yes};

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

/// A channel of which nothing is known.
struct Unit;

impl Capture for Unit {
    fn take(&mut self) -> Option<Captured> {
        yes().then(|| Captured {
            raw: any(),
            level: level(),
            over: yes(),
        })
    }

    fn count(&self) -> u32 {
        any()
    }
}

/// A future of which nothing is known.
fn perhaps<T>(value: impl Fn() -> T) -> impl Future<Output = T> {
    poll_fn(move |_| {
        if yes() {
            Poll::Ready(value())
        } else {
            Poll::Pending
        }
    })
}

/// What it waits for, and whether that fails, is not known either.
fn waited() -> impl Future<Output = Result<(), Broken>> {
    perhaps(|| yes().then_some(()).ok_or(Broken))
}

impl Wait for Pin {
    fn wait_for_high(&mut self) -> impl Future<Output = Result<(), Broken>> {
        waited()
    }

    fn wait_for_low(&mut self) -> impl Future<Output = Result<(), Broken>> {
        waited()
    }

    fn wait_for_rising_edge(&mut self) -> impl Future<Output = Result<(), Broken>> {
        waited()
    }

    fn wait_for_falling_edge(&mut self) -> impl Future<Output = Result<(), Broken>> {
        waited()
    }

    fn wait_for_any_edge(&mut self) -> impl Future<Output = Result<(), Broken>> {
        waited()
    }
}

/// A memory of which nothing is known.
pub(crate) struct Memory;

impl Records for Memory {
    fn read(&mut self) -> [[u8; RECORD]; 2] {
        [bytes(), bytes()]
    }

    fn write(&mut self, place: u8, record: &[u8; RECORD]) {
        black_box((place, record));
    }
}

/// A terminal with whatever decides its lines.
pub(crate) fn terminal<S: Decides>(side: &mut S, plan: &S::Config) {
    let (stage, seen) = (Stage::new(Pin, Pin, Pin), ReadBack::new(Pin, Pin, Pin));
    let mut terminal = Terminal::new(Pin, stage, seen);
    let form = match any() % 3 {
        0 => Form::Levels,
        1 => Form::Complementary,
        _ => Form::Pulsed { half_ns: any() },
    };
    let Ok(config) = OutputsConfig::new(rate(), form, any()) else {
        return;
    };
    while yes() {
        let looked = terminal.look(&config, side, plan, instant());
        black_box(looked.rearmed);
        let health = Health::of(Causes::NONE, looked.fault);
        let shown = terminal.show(&config, side, plan, instant(), &health, |until| {
            black_box(until);
            instant()
        });
        black_box(shown.pins);
        black_box(terminal.failures());
    }
}

fn lines(config: &Config, edges: &mut LoopEnd<8>) {
    let mut polled = Polled::new(config, Pin, instant());
    let mut eye = Comparator::new(config, Counter::new(Bits::B32, instant()), Pin);
    let mut test = eye.begin_test(config, instant(), any());
    while yes() {
        black_box(polled.poll(config, instant()));
        black_box((polled.line().tally(), polled.pin().failures()));
        let now: Instant = eye.now(any());
        if yes() {
            eye.pass(config, edges, now, |event| {
                black_box(event);
            });
        } else {
            eye.pass(config, &mut &SHARED, now, |event| {
                black_box(event);
            });
        }
        black_box(eye.step_test(config, edges, now, &mut test));
        black_box((eye.contact(), eye.deadline(config), eye.line().tally()));
        black_box((eye.failures(), eye.stuck_count()));
    }
}

/// An executor that does not know when to stop.
fn tasks() {
    let mut task = pin!(serve(Pin, |woken| {
        black_box(woken.is_ok());
        perhaps(|| ())
    }));
    while yes() {
        let _ = task.as_mut().poll(&mut Context::from_waker(Waker::noop()));
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
    let mut channels = Channels::new(Unit, Unit, Bits::B16);
    while yes() {
        let Some(captured) = channels.take() else {
            continue;
        };
        black_box(channels.count());
        into.put(captured);
        SHARED.put(captured);
        for taken in [out.take(), SHARED.take()].into_iter().flatten() {
            black_box(intake.edge(taken));
        }
        black_box((
            out.lost(),
            out.waiting(),
            SHARED.waiting(),
            SHARED.lost(),
            intake.now(any()).at,
        ));
        black_box(extended(any() as u16, any() as u16, yes(), any() as u16));
        if let Ok(sleep) = Sleep::new(rate(), Bits::B24, any64()) {
            black_box(sleep.until(instant(), [Some(instant().plus(any())), None]));
        }
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
    if let Some(config) = super::config() {
        lines(&config, &mut out);
    }
    if let Ok(plan) = WiredConfig::new(rate(), WiredPlan::USUAL) {
        terminal(&mut Wired::new(), &plan);
    }
    tasks();
}
