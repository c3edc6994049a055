//! The queue between capture interrupt and main loop, with the lock-free queue that firmware would
//! use (heapless, single producer, single consumer): the room computed is enough at the full rate
//! of chatter with the loop stalled as long as stated, less is not, and what is lost is counted.

use core::f64::consts::PI;

use heapless::spsc::Queue;
use trueonset::edge::{queue_room, Edge, Level};
use trueonset::flags::Flags;
use trueonset::onset::{Config, Event, Line};
use trueonset::time::{Instant, TickRate};
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

/// Interrupt and stalling loop over a queue of `N`: the most it held, and what it lost.
fn run<const N: usize>(edges: &[(f64, bool)]) -> (usize, usize) {
    let mut queue: Queue<(u32, bool), N> = Queue::new();
    let (mut interrupt, mut main) = queue.split();
    let stall = f64::from(STALL_US) * 1e-6;
    let (mut next, mut most, mut lost) = (stall, 0, 0);
    for &(t, blocked) in edges {
        while t >= next {
            most = most.max(main.len());
            while main.dequeue().is_some() {}
            next += stall;
        }
        lost += usize::from(interrupt.enqueue(((t * 16e6) as u32, blocked)).is_err());
    }
    (most, lost)
}

#[test]
fn the_room_computed_holds_what_comes_in_a_stall_and_less_does_not() {
    // Twice Rice's rate, f0 = fc·√(sin(π/8)/sin(3π/8)) for a fourth-order low-pass.
    let per_cycle = 2.0 * ((PI / 8.0).sin() / (3.0 * PI / 8.0).sin()).sqrt();
    let corner = f64::from(EDGES_HZ) / per_cycle;
    let edges = chatter(corner, 20.0);
    let rate = edges.len() as f64 / 20.0;
    assert!((rate / f64::from(EDGES_HZ) - 1.0).abs() < 0.03, "{rate}");
    let (most, lost) = run::<{ ROOM + 1 }>(&edges);
    println!(
        "room {ROOM}, most held {most} over 10 000 stalls of {STALL_US} us at {rate:.0} edges/s"
    );
    assert_eq!(lost, 0);
    assert!(most > ROOM * 3 / 4, "{most}: the room is far too wide");
    let (_, lost) = run::<{ ROOM * 3 / 4 + 1 }>(&edges);
    assert!(lost > 0);
}

/// What the queue could not hold reaches the touch as a remark.
#[test]
fn an_overflow_is_a_flag_of_the_touch() {
    let config = Config::new(TickRate::NANOSECONDS, 1_000).unwrap();
    let mut line = Line::new(&config, Level::Low, Instant::from_ticks(0));
    let edge = Edge::new(Instant::from_ticks(5_000), Level::High);
    assert_eq!(
        line.edge(&config, edge.with_faults(Flags::OVERCAPTURE)),
        None
    );
    let Some(Event::Touch(touch)) = line.poll(&config, Instant::from_ticks(9_000)) else {
        panic!("no touch");
    };
    assert!(touch.flags.contains(Flags::OVERCAPTURE));
}
