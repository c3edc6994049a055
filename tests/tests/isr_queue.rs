//! The queues between capture interrupt and main loop: the room computed is enough at the full rate
//! of chatter with the loop stalled as long as stated, less is not, what is lost is counted and
//! reaches the touch, and two threads lose and double nothing.

use core::f64::consts::PI;

use trueonset::edge::{queue_room, Level};
use trueonset::flags::Flags;
use trueonset::onset::{Config, Event, Line};
use trueonset::pins::{Captured, EdgeQueue, Intake, SharedQueue};
use trueonset::time::{Bits, Counter, Instant, TickRate};
use trueonset_sim::model::comparator::{Comparator, Output};
use trueonset_sim::model::noise::{Noise, Spectrum};
use trueonset_sim::model::rng;

const STALL_US: u32 = 2_000;
const EDGES_HZ: u32 = 150_000;
const ROOM: usize = queue_room(EDGES_HZ, STALL_US);

/// Edges of a comparator standing at the trip point, s: chatter at its highest rate, spread over
/// `corner` Hz.
fn chatter(corner: f64, seconds: f64) -> Vec<(f64, bool)> {
    let spectrum = Spectrum {
        corner,
        order: 4,
        steps: 10,
    };
    let mut noise = Noise::new(&spectrum);
    let mut rng = rng::stream(&[1]);
    noise.restart(&mut rng);
    let step = spectrum.step();
    let mut block = vec![0.0; 4_096];
    let mut output = Output::new(&Comparator::half_light(0.0), false);
    let (mut t, mut before, mut edges) = (0.0, 0.0, Vec::new());
    while t < seconds {
        noise.fill(&mut rng, &mut block);
        for &after in &block {
            if let Some(part) = output.follow(before, after) {
                edges.push((t + part * step, output.blocked()));
            }
            before = after;
            t += step;
        }
    }
    edges
}

fn captured(raw: u32, blocked: bool) -> Captured {
    Captured {
        raw,
        level: Level::from(blocked),
        over: false,
    }
}

/// Interrupt and stalling loop over both queues, of `N` and of one less: the most they held, and
/// what they lost.
fn run<const N: usize, const ROOM: usize>(edges: &[(f64, bool)]) -> (usize, u32) {
    let mut queue = EdgeQueue::<N>::new();
    let (mut interrupt, mut main) = queue.split();
    let shared = SharedQueue::<ROOM>::new();
    let stall = f64::from(STALL_US) * 1e-6;
    let (mut next, mut most) = (stall, 0);
    for &(t, blocked) in edges {
        while t >= next {
            most = most.max(main.waiting());
            while let Some(captured) = main.take() {
                assert_eq!(shared.take(), Some(captured));
            }
            assert_eq!(shared.take(), None);
            next += stall;
        }
        let captured = captured((t * 16e6) as u32, blocked);
        interrupt.put(captured);
        shared.put(captured);
    }
    assert_eq!(main.lost(), shared.lost());
    (most, main.lost())
}

#[test]
fn the_room_computed_holds_what_comes_in_a_stall_and_less_does_not() {
    // Twice Rice's rate, f0 = fc·√(sin(π/8)/sin(3π/8)) for a fourth-order low-pass.
    let per_cycle = 2.0 * ((PI / 8.0).sin() / (3.0 * PI / 8.0).sin()).sqrt();
    let corner = f64::from(EDGES_HZ) / per_cycle;
    let edges = chatter(corner, 20.0);
    let rate = edges.len() as f64 / 20.0;
    assert!((rate / f64::from(EDGES_HZ) - 1.0).abs() < 0.03, "{rate}");
    let (most, lost) = run::<{ ROOM + 1 }, ROOM>(&edges);
    println!(
        "room {ROOM}, most held {most} over 10 000 stalls of {STALL_US} us at {rate:.0} edges/s"
    );
    assert_eq!(lost, 0);
    assert!(most > ROOM * 3 / 4, "{most}: the room is far too wide");
    let (_, lost) = run::<{ ROOM * 3 / 4 + 1 }, { ROOM * 3 / 4 }>(&edges);
    assert!(lost > 0);
}

/// What the queue could not hold reaches the touch as a remark, and the line stands right after it.
#[test]
fn an_overflow_is_a_flag_of_the_touch() {
    let config = Config::new(TickRate::NANOSECONDS, 1_000).unwrap();
    let mut queue = EdgeQueue::<4>::new();
    let (mut interrupt, mut main) = queue.split();
    for (raw, blocked) in [(5_000, true), (5_010, false), (5_020, true), (5_030, false)] {
        interrupt.put(captured(raw, blocked));
    }
    assert_eq!(main.lost(), 1);
    let start = Instant::from_ticks(0);
    let mut line = Line::new(&config, Level::Low, start);
    let mut intake = Intake::new(Counter::new(Bits::B32, start));
    while let Some(captured) = main.take() {
        assert_eq!(line.edge(&config, intake.edge(captured)), None);
    }
    let now = intake.now(5_100).at;
    let told = intake.overflowed(main.lost(), now, Level::High);
    for edge in told.into_iter().flatten() {
        assert_eq!(line.edge(&config, edge), None);
    }
    let Some(Event::Touch(touch)) = line.poll(&config, Instant::from_ticks(9_000)) else {
        panic!("no touch");
    };
    let told = Flags::OVERCAPTURE.union(Flags::UNKNOWN_LEVEL);
    assert!(touch.flags.contains(told), "{}", touch.flags);
}

/// Two threads in place of interrupt and loop: each capture arrives once and in order, or is counted.
#[test]
fn threads_lose_only_what_is_counted() {
    const ALL: u32 = 200_000;
    let mut queue = EdgeQueue::<32>::new();
    let (mut interrupt, mut main) = queue.split();
    let shared = SharedQueue::<31>::new();
    let done = std::sync::atomic::AtomicBool::new(false);
    let (mut counts, mut newest) = ([0; 2], [None; 2]);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            for raw in 0..ALL {
                interrupt.put(captured(raw, raw % 2 == 0));
                shared.put(captured(raw, raw % 2 == 0));
            }
            done.store(true, std::sync::atomic::Ordering::Release);
        });
        loop {
            // Asked first: what was put before is then found.
            let over = done.load(std::sync::atomic::Ordering::Acquire);
            let mut nothing = true;
            for (place, taken) in [main.take(), shared.take()].into_iter().enumerate() {
                let Some(captured) = taken else { continue };
                nothing = false;
                assert_eq!(captured.level, Level::from(captured.raw % 2 == 0));
                assert!(newest[place] < Some(captured.raw));
                newest[place] = Some(captured.raw);
                counts[place] += 1;
            }
            if over && nothing {
                break;
            }
        }
    });
    assert_eq!(counts[0] + main.lost(), ALL);
    assert_eq!(counts[1] + shared.lost(), ALL);
}
