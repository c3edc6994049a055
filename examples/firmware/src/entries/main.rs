//! The entries of the library that do most, each in a function of its own: for what each of them
//! takes of the stack, which the compiler tells of whole functions only. Built and measured, never
//! run.
#![no_std]
#![no_main]

#[path = "../proof/never.rs"]
mod never;
#[path = "../start.rs"]
mod start;

use core::hint::black_box;

use trueonset::barrier::{Barrier, BarrierConfig};
use trueonset::battery::{
    Battery, BatteryConfig, BatteryPlan, Cells, Chemistry, Load, Observation, Pack,
};
use trueonset::clock::{ClockConfig, Oscillator};
use trueonset::edge::{Edge, Level};
use trueonset::frame::{Key, FRAME};
use trueonset::head::{Head, HeadConfig, Waking};
use trueonset::hits::{Hits, HitsConfig};
use trueonset::lateness::Calibrator;
use trueonset::link::{LinkConfig, LinkPlan, Stored, RECORD};
use trueonset::onset::{Config, Event, Line};
use trueonset::receiver::{Receiver, ReceiverConfig};
use trueonset::time::{Instant, TickRate};
use trueonset::wired::{Wired, WiredConfig, WiredPlan};

/// A number of which the compiler knows nothing.
fn any() -> u32 {
    static mut SOURCE: u32 = 0;
    // SAFETY: a read of an aligned word of our own.
    unsafe { (&raw const SOURCE).read_volatile() }
}

fn any64() -> u64 {
    u64::from(any()) << 32 | u64::from(any())
}

fn now() -> Instant {
    Instant::from_ticks(any64())
}

fn bytes<const N: usize>() -> [u8; N] {
    [0; N].map(|_: u8| any() as u8)
}

/// A function of its own around an entry. What it gives back lies with its caller, who has to keep it.
macro_rules! entries {
    ($(fn $name:ident($($argument:ident: $kind:ty),*) $entry:block)*) => {
        $(#[inline(never)]
        fn $name($($argument: $kind),*) -> impl Sized {
            $entry
        })*
    };
}

entries! {
    fn entry_line_edge(line: &mut Line, config: &Config, edge: Edge) { line.edge(config, edge) }
    fn entry_line_poll(line: &mut Line, config: &Config) { line.poll(config, now()) }
    fn entry_hits_event(hits: &mut Hits<8>, config: &HitsConfig, event: &Event) {
        hits.event(config, event, |touch| {
            black_box(touch);
        });
    }
    fn entry_calibrator_solve(calibrator: &mut Calibrator<8>) { calibrator.solve() }
    fn entry_barrier_sample(barrier: &mut Barrier, config: &BarrierConfig) {
        barrier.sample(config, any() as u16)
    }
    fn entry_battery_config(plan: BatteryPlan) { BatteryConfig::new(plan) }
    fn entry_battery_observe(battery: &mut Battery, config: &BatteryConfig, seen: &Observation) {
        battery.observe(config, seen);
    }
    fn entry_battery_lasts(battery: &Battery, config: &BatteryConfig) {
        battery.state(config, any()).lasts(any())
    }
    fn entry_head_event(head: &mut Head, config: &HeadConfig, event: &Event) {
        head.event(config, event)
    }
    fn entry_head_make(head: &mut Head, config: &HeadConfig) { head.make(config, now(), any()) }
    fn entry_receiver_new(config: &ReceiverConfig, key: Key, stored: Stored) {
        Receiver::new(config, key, stored)
    }
    fn entry_receiver_frame(receiver: &mut Receiver, config: &LinkConfig, frame: &[u8; FRAME]) {
        receiver.frame(config, now(), now(), frame)
    }
    fn entry_receiver_poll(receiver: &mut Receiver, config: &LinkConfig) {
        receiver.poll(config, now())
    }
    fn entry_receiver_lines(receiver: &mut Receiver, config: &LinkConfig) {
        receiver.lines(config, now())
    }
    fn entry_receiver_rearm(receiver: &mut Receiver, config: &LinkConfig) {
        receiver.rearm(config, now(), Level::from(any() == 0))
    }
    fn entry_receiver_falls(receiver: &Receiver, config: &LinkConfig) {
        receiver.falls_per_1000_h(config)
    }
    fn entry_wired_poll(wired: &mut Wired, config: &WiredConfig) { wired.poll(config, now()) }
    fn entry_wired_lines(wired: &mut Wired, config: &WiredConfig) { wired.lines(config, now()) }
}

/// Never run.
#[start::entry]
fn main() -> ! {
    loop {
        black_box(edges());
        black_box(air());
        black_box(cells());
    }
}

fn rate() -> Option<TickRate> {
    TickRate::from_hz(any()).ok()
}

fn edges() -> Option<()> {
    let config = Config::new(rate()?, any64()).ok()?;
    let mut line = Line::new(&config, Level::Low, now());
    let hits = HitsConfig::new(rate()?, any64(), any() as u8, 8).ok()?;
    let mut merged = Hits::<8>::new();
    let optics = BarrierConfig::new(rate()?, any(), any64()).ok()?;
    let mut barrier = Barrier::new(now());
    let mut calibrator = Calibrator::<8>::new();
    while any() != 0 {
        entry_line_edge(
            &mut line,
            &config,
            Edge::new(now(), Level::from(any() == 0)),
        );
        if let Some(event) = line.poll(&config, now()) {
            black_box(entry_hits_event(&mut merged, &hits, &event));
        }
        black_box(entry_line_poll(&mut line, &config));
        black_box(entry_barrier_sample(&mut barrier, &optics));
        black_box(calibrator.pair(any(), i64::from(any())).is_ok());
        black_box(entry_calibrator_solve(&mut calibrator));
    }
    Some(())
}

fn air() -> Option<()> {
    let plan = black_box(LinkPlan::INFRARED);
    let link = LinkConfig::new(rate()?, plan).ok()?;
    let clock = ClockConfig::new(rate()?, any(), Oscillator::CRYSTAL).ok()?;
    let records: [[u8; RECORD]; 2] = [bytes(), bytes()];
    let stored = || Stored::read(&link, [&records[0], &records[1]], 5);
    let probe = ReceiverConfig::new(&link, 5, clock).ok()?;
    black_box(entry_receiver_new(
        &probe,
        Key::new(bytes()).ok()?,
        stored(),
    ));
    let mut receiver = Receiver::new(&probe, Key::new(bytes()).ok()?, stored());
    let config = HeadConfig::new(rate()?, 5, &plan).ok()?;
    let waking = Waking::read(&config, [&records[0], &records[1]])?;
    let counted = waking.stored([&records[0], &records[1]]).ok()?;
    let mut head = counted.head(Key::new(bytes()).ok()?, now(), false);
    let hold = Config::new(rate()?, any64()).ok()?;
    let mut edges = Line::new(&hold, Level::Low, now());
    let cable = WiredConfig::new(rate()?, WiredPlan::USUAL).ok()?;
    let mut wired = Wired::new();
    while any() != 0 {
        black_box(entry_receiver_frame(&mut receiver, &link, &bytes()));
        black_box(entry_receiver_poll(&mut receiver, &link));
        black_box(entry_receiver_lines(&mut receiver, &link));
        black_box(entry_receiver_rearm(&mut receiver, &link));
        black_box(entry_receiver_falls(&receiver, &link));
        let _ = edges.edge(&hold, Edge::new(now(), Level::from(any() == 0)));
        if let Some(event) = &edges.poll(&hold, now()) {
            black_box(entry_head_event(&mut head, &config, event));
        }
        black_box(entry_head_make(&mut head, &config));
        wired.edge(now(), any() == 0, now(), any());
        black_box(entry_wired_poll(&mut wired, &cable));
        black_box(entry_wired_lines(&mut wired, &cable));
    }
    Some(())
}

fn cells() -> Option<()> {
    let plan = BatteryPlan {
        pack: Pack {
            chemistry: *Chemistry::ALL.get(any() as usize)?,
            cells: 2,
            capacity_uah: any(),
        },
        load: Load {
            base_ua: any(),
            measuring_ua: any(),
            least_duty_permille: any() as u16,
            most_duty_permille: any() as u16,
            pulse_ua: any(),
            stop_mv: any(),
        },
        reading_mv: 10,
        coldest_decicelsius: any() as i16,
        stale_s: any(),
    };
    black_box(entry_battery_config(plan));
    let config = BatteryConfig::new(plan).ok()?;
    let mut battery = Battery::new(&config, None);
    while any() != 0 {
        let seen = Observation {
            at_s: any(),
            rest_mv: any(),
            loaded_mv: any(),
            pulse_ua: any(),
            decicelsius: any() as i16,
            counter_uah: any(),
            rested_s: any(),
            cells: Cells::Same,
        };
        black_box(entry_battery_observe(&mut battery, &config, &seen));
        black_box(entry_battery_lasts(&battery, &config));
    }
    Some(())
}
