//! Proof that core cannot panic: the panic handler calls a function that does not exist, so the image links only if
//! the linker finds no way to it from any public entry of core.
//!
//! Nothing here is meant to run; that it links is the result. Every argument comes from a volatile read, so that the
//! compiler knows nothing about it. Feature `reachable-panic` adds one division by an unknown number: with it the
//! link must fail, or the proof proves nothing.
#![no_std]
#![no_main]

mod air;
mod battery;
mod gauge;
mod lines;
mod link;
mod never;
mod pairing;
mod pins;
mod rig;
#[path = "../start.rs"]
mod start;

use core::fmt::Write;
use core::hint::black_box;

// It chooses how a critical section is made.
#[cfg(target_arch = "arm")]
use cortex_m as _;
#[cfg(target_arch = "riscv32")]
use riscv as _;
use trueonset::barrier::{Barrier, BarrierConfig, BarrierError, LightTest, Method, Seen};
use trueonset::edge::{queue_room, Edge, Level};
use trueonset::flags::Flags;
use trueonset::health::Health;
use trueonset::hits::{Hits, HitsConfig, HitsEvent};
use trueonset::lateness::{CalibrationError, Calibrator, Lateness, LatenessError};
use trueonset::lines::Causes;
use trueonset::onset::{
    Chatter, Config, ConfigError, Contact, Doubt, Event, FeedClass, Line, Touched, Truncation,
};
use trueonset::time::{Bits, Counter, FineInstant, Instant, Span, TickRate};

/// A number the compiler knows nothing about.
fn any() -> u32 {
    static mut SOURCE: u32 = 0;
    // SAFETY: a read of an aligned word of our own.
    unsafe { (&raw const SOURCE).read_volatile() }
}

fn yes() -> bool {
    any() & 1 != 0
}

fn any64() -> u64 {
    u64::from(any()) << 32 | u64::from(any())
}

fn instant() -> Instant {
    Instant::from_ticks(any64())
}

fn level() -> Level {
    match any() % 4 {
        0 => Level::Low,
        1 => Level::High,
        _ => Level::Unknown,
    }
}

fn flags() -> Flags {
    [
        Flags::NONE,
        Flags::OVERCAPTURE,
        Flags::TIME_BACK,
        Flags::LOST_EDGE,
    ][any() as usize % 4]
}

/// Takes text and drops it.
struct Nowhere;

impl Write for Nowhere {
    fn write_str(&mut self, text: &str) -> core::fmt::Result {
        black_box(text);
        Ok(())
    }
}

/// All of it, for ever.
#[start::entry]
fn main() -> ! {
    loop {
        time();
        flag();
        if let Some(config) = config() {
            onset(&config);
        }
        match barrier_config() {
            Ok(config) => barrier(&config),
            Err(why) => {
                let _ = write!(Nowhere, "{why}");
            }
        }
        self_test();
        link::all();
        battery::all();
        gauge::all();
        lines::all();
        pairing::all();
        pins::all();
        rig::all();
        if let Err(why) = calibrate() {
            let _ = write!(Nowhere, "{why}");
        }
        match HitsConfig::new(rate(), any64(), any() as u8, 8) {
            Ok(config) => hits(&config),
            Err(why) => {
                let _ = write!(Nowhere, "{why}");
            }
        }
        match constants() {
            Ok(lateness) => late(&lateness),
            Err(why) => {
                let _ = write!(Nowhere, "{why}");
            }
        }
        #[cfg(feature = "reachable-panic")]
        black_box(any() / any());
    }
}

fn time() {
    let rate = rate();
    black_box((rate.hz(), rate.ns(any64()), rate.ticks_from_ns(any64())));
    black_box(Doubt::from_sixteenths(any()).ns(rate));
    let span = instant().since(instant());
    black_box((
        span.ticks(),
        instant().saturating_add(Span::from_ticks(any64() as i64)),
    ));
    fine(FineInstant::new(instant(), any() as i32));
    let bits = [Bits::B16, Bits::B24, Bits::B32][any() as usize % 3];
    black_box(Counter::behind_a_queue(bits, any()));
    let mut counter = Counter::new(bits, instant()).allowing_back_step(any());
    black_box((bits.turn(), queue_room(any(), any())));
    while any() != 0 {
        let stamp = match any() % 3 {
            0 => counter.widen(any()),
            1 => counter.widen_with_turns(any(), any()),
            _ => counter.widen_with_coarse(any(), instant()),
        };
        black_box((Edge::captured(stamp, level()), counter.newest()));
    }
}

fn fine(at: FineInstant) {
    black_box((at.whole(), at.part_256(), at.nearest()));
}

fn flag() {
    let mut set = flags().union(flags());
    set.insert(flags());
    set.insert_if(flags(), any() == 0);
    black_box((
        set.is_empty(),
        set.contains(flags()),
        set.without(flags()),
        Flags::from_word("upper"),
        Flags::from_bits(any()).with_release(flags()).has(flags()),
    ));
    for word in set.words() {
        black_box(word);
    }
    // Whether the sink refuses is the sink's affair.
    let _ = write!(Nowhere, "{set}");
}

fn config() -> Option<Config> {
    match checked() {
        Ok(config) => {
            black_box((
                config.rate(),
                config.hold_ticks(),
                config.release_hold_ticks(),
            ));
            Some(config)
        }
        Err(why) => {
            let _ = write!(Nowhere, "{why}");
            None
        }
    }
}

fn checked() -> Result<Config, ConfigError> {
    let mut config = Config::new(rate(), any64())?.touched(if any() == 0 {
        Touched::High
    } else {
        Touched::Low
    });
    if any() == 0 {
        config = config.bandwidth_hz(any())?;
    }
    if any() == 0 {
        config = config.release_hold(any64())?;
    }
    let side = [Truncation::Before, Truncation::Nearest, Truncation::After][any() as usize % 3];
    config.capture(side, any())
}

fn rate() -> TickRate {
    TickRate::from_hz(any()).unwrap_or_else(|why| {
        let _ = write!(Nowhere, "{why}");
        TickRate::NANOSECONDS
    })
}

fn onset(config: &Config) {
    let learned = match any() % 3 {
        0 => Chatter::new(),
        1 => Chatter::known(any64()),
        _ => Chatter::default(),
    };
    let mut last = None;
    let mut line = Line::new(config, level(), instant()).with_learned(learned);
    while any() != 0 {
        let event = match any() % 4 {
            0 => line.poll(config, instant()),
            1 => line.edge(config, Edge::new(instant(), level())),
            _ => line.edge(config, Edge::new(instant(), level()).with_faults(flags())),
        };
        match event {
            Some(Event::Touch(contact) | Event::Release(contact)) => look(&contact, &mut last),
            other => drop(black_box(other)),
        }
        if any() == 0 {
            let class = (any() != 0).then(FeedClass::new);
            black_box(line.exchange_class(class).map(|class| class.touches()));
        }
        black_box((
            line.in_contact(),
            line.tally(),
            line.open_since(),
            line.is_sure(),
            line.deadline(),
            line.learned().edge_variance_256(),
        ));
        if let Some(at) = line.causal(config, instant()) {
            fine(at);
        }
    }
}

fn barrier_config() -> Result<BarrierConfig, BarrierError> {
    let config = BarrierConfig::new(rate(), any(), any64())?
        .bits(any() as u8)?
        .trip_permille(any() as u16)?
        .rest_time_ms(any())?
        .longest_contact_ms(any())
        .fastest_blade_ns(any())
        .vouched_ms(any());
    let config = if any() == 0 {
        config.clean(any() as u16, any() as u16)?
    } else {
        config
    };
    config.method(if any() == 0 {
        Method::Area
    } else {
        Method::Matched
    })
}

fn barrier(config: &BarrierConfig) {
    black_box((config.rate(), config.sampling_hz()));
    let mut barrier = Barrier::new(instant());
    if any() == 0 {
        barrier = barrier.with_rest(config, any() as u16);
    }
    let mut last = None;
    while any() != 0 {
        match barrier.sample(config, any() as u16) {
            Some(Seen::Hard(hard)) => fine(hard.onset),
            Some(Seen::Event(Event::Touch(contact) | Event::Release(contact))) => {
                look(&contact, &mut last);
            }
            other => drop(black_box(other)),
        }
        if any() == 0 {
            barrier.gap(any64());
        }
        let optics = barrier.optics(config);
        let health = Health::of(Causes::NONE, any() == 0).optics(Some(&optics));
        black_box(health.ailments());
        black_box((
            optics.is_clear(),
            optics,
            barrier.in_contact(),
            barrier.samples(),
            barrier.levels(config),
            barrier.crossing_since(config),
        ));
    }
}

fn self_test() {
    let mut test = LightTest::begin(instant(), any() == 0, any());
    while any() != 0 {
        black_box((
            test.step(instant(), any() == 0),
            test.lamp(),
            test.deadline(),
            test.result(),
        ));
    }
}

fn hits(config: &HitsConfig) {
    let Some(line_config) = self::config() else {
        return;
    };
    let mut line = Line::new(&line_config, level(), instant());
    let mut hits = Hits::<8>::new();
    let tell = |event: &HitsEvent| match event {
        HitsEvent::Release(_, cutter) => drop(black_box(Some(*cutter))),
        other => drop(black_box(Some(*other))),
    };
    while any() != 0 {
        if let Some(event) = line.edge(&line_config, Edge::new(instant(), level())) {
            hits.event(config, &event, tell);
        }
        hits.poll(config, instant(), tell);
        black_box((hits.in_contact(), hits.open_since(), hits.deadline(config)));
    }
}

fn calibrate() -> Result<(), CalibrationError> {
    let mut calibrator = Calibrator::<8>::new();
    while any() != 0 {
        calibrator.pair(any(), any64() as i64)?;
    }
    for mean in calibrator.feeds() {
        black_box(mean);
    }
    late(&calibrator.solve()?);
    Ok(())
}

fn constants() -> Result<Lateness, LatenessError> {
    let lateness = set()?.between(&set()?, &set()?);
    black_box(lateness.others());
    Ok(lateness.turn_assumed())
}

fn set() -> Result<Lateness, LatenessError> {
    Lateness::delay(any64() as i64, any())?
        .offset(any(), any(), any())?
        .together(any() as i16)
}

fn late(lateness: &Lateness) {
    black_box((lateness.delay_ps(), lateness.delay_doubt_ps()));
    black_box((lateness.offset_pm(), lateness.offset_doubt_pm()));
    black_box((lateness.turn_nm_s(), lateness.together_permille()));
    black_box(lateness.is_turn_assumed());
    black_box((lateness.at_feed(any()), lateness.at_edges(any())));
}

fn look(contact: &Contact, last: &mut Option<Contact>) {
    if let Some(touch) = last.replace(*contact) {
        black_box(touch.flags_with(contact).only(flags()));
    }
    fine(contact.onset);
    black_box(contact.doubt.map(Doubt::sixteenths));
    air::quality(contact);
    black_box(contact);
    if let Ok(lateness) = constants() {
        let feed = (any() == 0).then(any);
        fine(lateness.corrected(contact, rate(), feed).onset);
    }
}
