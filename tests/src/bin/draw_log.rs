//! Draws a log from a seed: `draw_log SEED > LOG.csv`.
//!
//! One to four lines of chattering touches, glitches, rests, repeated levels and now and then an unknown level, in the
//! order of time, starting at a negative or positive time. Nothing in it is realistic but the variety.

use std::process::ExitCode;

/// Ends of the dwells within chatter, in ns.
const DWELL_NS: (u64, u64) = (1, 60_000);
/// Ends of the rests between episodes, in ns: some shorter than a hold of 1 ms, some longer than eight.
const REST_NS: (u64, u64) = (300_000, 30_000_000);
/// Episodes a line.
const EPISODES: u64 = 200;

/// Splitmix64 (Steele, Lea, Flood 2014).
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// Evenly within `from..=to`.
    fn within(&mut self, (from, to): (u64, u64)) -> u64 {
        from + self.next() % (to - from + 1)
    }

    /// The same for a step of time; the ends used here are far below 2^63.
    fn step_ns(&mut self, ends: (u64, u64)) -> i64 {
        i64::try_from(self.within(ends)).unwrap_or(i64::MAX)
    }

    /// True once in `times`.
    fn once_in(&mut self, times: u64) -> bool {
        self.next() % times == 0
    }
}

/// The rows of one line: times and levels.
fn line(random: &mut Random, start_ns: i64) -> Vec<(i64, char)> {
    let mut high = random.once_in(2);
    let mut now_ns = start_ns;
    let mut rows = vec![(now_ns, level(high))];
    for _ in 0..EPISODES {
        now_ns += random.step_ns(REST_NS);
        // An even count is a glitch, an odd one a change; few edges as often as many.
        let most = [2, 9, 40, 200][random.within((0, 3)) as usize];
        for _ in 0..random.within((1, most)) {
            high = !high;
            rows.push((now_ns, level(high)));
            if random.once_in(300) {
                now_ns += 1;
                rows.push((now_ns, 'x'));
            }
            if random.once_in(50) {
                now_ns += 1;
                rows.push((now_ns, level(high)));
            }
            now_ns += random.step_ns(DWELL_NS);
        }
    }
    rows
}

fn level(high: bool) -> char {
    if high {
        '1'
    } else {
        '0'
    }
}

fn main() -> ExitCode {
    let Some(seed) = std::env::args().nth(1).and_then(|word| word.parse().ok()) else {
        eprintln!("error: found no seed, expected a whole number; give it as the one argument");
        return ExitCode::from(2);
    };
    let mut random = Random(seed);
    let start_ns = random.step_ns((0, 20_000_000_000)) - 10_000_000_000;
    let names =
        &["beam", "touch pad", "t", "spindle_side_barrier"][..random.within((1, 4)) as usize];
    let mut rows: Vec<(i64, &str, char)> = Vec::new();
    for &name in names {
        rows.extend(
            line(&mut random, start_ns)
                .into_iter()
                .map(|(time_ns, level)| (time_ns, name, level)),
        );
    }
    // Stable, so rows of one line at one time keep their order.
    rows.sort_by_key(|&(time_ns, ..)| time_ns);
    println!("time_ns,line,level");
    for (time_ns, name, level) in rows {
        println!("{time_ns},{name},{level}");
    }
    ExitCode::SUCCESS
}
