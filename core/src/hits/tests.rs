extern crate std;

use super::{Cutter, Deepest, Hits, HitsConfig, HitsError, HitsEvent, SHORTEST_HIT_NS};
use crate::edge::{Edge, Level};
use crate::flags::Flags;
use crate::onset::{Config, Contact, Line, Truncation};
use crate::time::{Instant, TickRate};
use std::vec::Vec;

const RATE: TickRate = TickRate::NANOSECONDS;

/// A line with its hits, driven by blocked stretches (begin, width), ns.
struct Rig {
    config: Config,
    hits_config: HitsConfig,
    line: Line,
    hits: Hits<8>,
    told: Vec<HitsEvent>,
}

impl Rig {
    fn new(turn_ns: u64, teeth: u8) -> Self {
        let config = Config::new(RATE, SHORTEST_HIT_NS)
            .and_then(|config| config.bandwidth_hz(100_000))
            .and_then(|config| config.capture(Truncation::Nearest, 256))
            .unwrap();
        Self {
            config,
            hits_config: HitsConfig::new(RATE, turn_ns, teeth, 8).unwrap(),
            line: Line::new(&config, Level::Low, Instant::from_ticks(0)),
            hits: Hits::new(),
            told: Vec::new(),
        }
    }

    fn pass(&mut self, at: Instant) {
        let event = self.line.poll(&self.config, at);
        self.take(event, at);
    }

    fn take(&mut self, event: Option<crate::onset::Event>, at: Instant) {
        let told = &mut self.told;
        if let Some(event) = event {
            self.hits
                .event(&self.hits_config, &event, |event| told.push(*event));
        }
        let settled = self.line.open_since().unwrap_or(at).min(at);
        self.hits
            .poll(&self.hits_config, settled, |event| told.push(*event));
    }

    fn blocked(&mut self, begin: u64, width: u64) {
        for (at, level) in [
            (begin, Level::High),
            (begin.saturating_add(width), Level::Low),
        ] {
            let at = Instant::from_ticks(at);
            let event = self.line.edge(&self.config, Edge::new(at, level));
            self.take(event, at);
        }
    }

    fn touches(&self) -> Vec<Contact> {
        let touch = |event: &HitsEvent| match event {
            HitsEvent::Touch(touch) => Some(*touch),
            _ => None,
        };
        self.told.iter().filter_map(touch).collect()
    }

    fn cutters(&self) -> Vec<(Contact, Cutter)> {
        let free = |event: &HitsEvent| match event {
            HitsEvent::Release(release, cutter) => Some((*release, *cutter)),
            _ => None,
        };
        self.told.iter().filter_map(free).collect()
    }

    fn glitches(&self) -> usize {
        let glitch = |event: &&HitsEvent| matches!(event, HitsEvent::Glitch(_));
        self.told.iter().filter(glitch).count()
    }
}

/// Widths, ns, of a cutter that advances: tooth heights and feed a tooth, both in widths².
fn widths(heights: &[f64], feed: f64, hits: usize) -> Vec<Option<u64>> {
    (0..hits)
        .map(|i| {
            let square = heights[i % heights.len()] + feed * i as f64;
            let width = square.max(0.0).sqrt();
            (width >= 21_000.0).then_some(width as u64)
        })
        .collect()
}

fn strike(rig: &mut Rig, from: u64, tooth: u64, widths: &[Option<u64>]) -> (u64, u64) {
    let mut begins = (None, 0);
    for (i, width) in widths.iter().enumerate() {
        if let Some(width) = width {
            // The peak of each hit is in step, its edges lie round it.
            let begin = from + i as u64 * tooth - width / 2;
            rig.blocked(begin, *width);
            begins = (begins.0.or(Some(begin)), begin + width);
        }
    }
    (begins.0.unwrap(), begins.1)
}

#[test]
fn hits_of_any_cutter_merge_into_one_touch_from_first_edge_to_last() {
    for teeth in 1..=8_u8 {
        for turns_per_min in [500_u64, 3_000, 12_000, 24_000] {
            let turn = 60_000_000_000 / turns_per_min;
            let tooth = turn / u64::from(teeth);
            let mut rig = Rig::new(turn, teeth);
            let mut last = 1_000_000_000;
            let mut expected = Vec::new();
            for _ in 0..3 {
                // One tooth is 4 deeper than the others: the first turns are its alone.
                let mut heights = [-1.6e9; 8];
                heights[2 % usize::from(teeth)] = 0.0;
                let hits = widths(
                    &heights[..usize::from(teeth)],
                    4e8 / f64::from(teeth),
                    12 * usize::from(teeth),
                );
                let (begin, end) = strike(&mut rig, last, tooth, &hits);
                let count = hits.iter().flatten().count() as u32;
                let widest = hits.iter().flatten().max().copied().unwrap();
                expected.push((begin, end, count, widest));
                last = end + 2 * turn;
                rig.pass(Instant::from_ticks(last - turn / 4));
            }
            let (touches, cutters) = (rig.touches(), rig.cutters());
            assert_eq!(
                (touches.len(), cutters.len(), rig.glitches()),
                (3, 3, 0),
                "{teeth} {turns_per_min}"
            );
            for ((touch, (release, cutter)), (begin, end, count, widest)) in
                touches.iter().zip(&cutters).zip(&expected)
            {
                assert_eq!(touch.onset.nearest().ticks(), *begin);
                assert_eq!(release.onset.nearest().ticks(), *end);
                assert!(touch.flags.contains(Flags::INTERRUPTED));
                assert!(
                    !release.flags.contains(Flags::ROUGH),
                    "{teeth} {turns_per_min}"
                );
                assert_eq!(
                    (cutter.hits, cutter.widest.ticks()),
                    (*count, *widest as i64)
                );
                let period = cutter.tooth_period_256 as f64 / 256.0 / tooth as f64;
                assert!(
                    (period - 1.0).abs() < 0.02,
                    "{teeth} {turns_per_min} {period}"
                );
            }
        }
    }
}

#[test]
fn what_nothing_confirms_is_a_glitch_and_a_chip_before_the_cutter_moves_nothing() {
    let turn = 20_000_000;
    let mut rig = Rig::new(turn, 4);
    rig.blocked(1_000_000_000, 60_000);
    rig.blocked(2_000_000_000, 60_000);
    rig.pass(Instant::from_ticks(2_100_000_000));
    assert_eq!((rig.glitches(), rig.touches().len()), (2, 0));
    // A chip 1.3 tooth periods before the first hit, and one between the first two.
    rig.blocked(3_000_000_000 - 6_500_000, 60_000);
    rig.blocked(3_000_000_000, 60_000);
    rig.blocked(3_002_000_000, 30_000);
    rig.blocked(3_005_000_000, 60_000);
    rig.blocked(3_010_000_000, 60_000);
    rig.pass(Instant::from_ticks(3_100_000_000));
    assert_eq!((rig.glitches(), rig.touches().len()), (4, 1));
    let touch = rig.touches()[0];
    assert_eq!(touch.onset.nearest().ticks(), 3_000_000_000);
    assert_eq!(rig.cutters()[0].1.hits, 3);
}

#[test]
fn a_standing_cutter_touches_without_hits() {
    let turn = 20_000_000;
    let mut rig = Rig::new(turn, 4);
    rig.blocked(1_000_000_000, 300_000_000);
    rig.pass(Instant::from_ticks(2_000_000_000));
    let touch = rig.touches()[0];
    assert_eq!(touch.onset.nearest().ticks(), 1_000_000_000);
    assert_eq!(touch.confirmed.ticks(), 1_025_000_000);
    assert!(!touch.flags.contains(Flags::INTERRUPTED));
    let (release, cutter) = rig.cutters()[0];
    assert_eq!(release.onset.nearest().ticks(), 1_300_000_000);
    assert_eq!((cutter.hits, cutter.deepest), (1, Deepest::CannotTell));
}

/// Heights of the teeth in widths² and, of 60 draws of width jitter, how often the deepest tooth
/// was told right and wrong.
fn told(heights: &[f64; 4], feed: f64, turns: usize, jitter_ns: f64) -> (u32, u32) {
    let (turn, tooth) = (120_000_000, 30_000_000);
    let highest = (0..4)
        .max_by(|a, b| heights[*a].total_cmp(&heights[*b]))
        .unwrap();
    let mut seed = 7_u64;
    let mut noise = || {
        // The sum of four even numbers, near enough to a normal one.
        let mut sum = 0.0;
        for _ in 0..4 {
            seed = seed
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(99);
            sum += (seed >> 40) as f64 / f64::from(1 << 24) - 0.5;
        }
        sum * 3_f64.sqrt() * jitter_ns
    };
    let (mut right, mut wrong) = (0, 0);
    for _ in 0..60 {
        let mut rig = Rig::new(turn, 4);
        let hits: Vec<_> = widths(heights, feed, 4 * turns)
            .into_iter()
            .map(|width| width.map(|width| (width as f64 + noise()) as u64))
            .collect();
        let first = hits.iter().position(Option::is_some).unwrap();
        let (_, end) = strike(&mut rig, 1_000_000_000, tooth, &hits);
        rig.pass(Instant::from_ticks(end + 2 * turn));
        match rig.cutters()[0].1.deepest {
            Deepest::Tooth(k) if (usize::from(k) + first) % 4 == highest => right += 1,
            Deepest::Tooth(_) => wrong += 1,
            Deepest::CannotTell => {}
        }
    }
    (right, wrong)
}

#[test]
fn the_deepest_tooth_is_told_where_the_widths_differ_and_not_else() {
    // R 5 mm at 500 /min: w² of 1 µm is (763 µs)². Heights -3, 0, -1, -4 µm.
    let micron = 763_000.0_f64.powi(2);
    let uneven = [-3.0 * micron, 0.0, -micron, -4.0 * micron];
    let (right, wrong) = told(&uneven, 0.25 * micron, 12, 10_000.0);
    assert_eq!((right, wrong), (60, 0));
    let (right, wrong) = told(&uneven, 1.0 * micron, 6, 50_000.0);
    assert!(right > 50 && wrong == 0, "{right} {wrong}");
    // With even teeth the feed makes every later one deeper; none is the deepest.
    let (right, wrong) = told(&[0.0; 4], 0.25 * micron, 12, 10_000.0);
    assert!(right + wrong <= 3, "{right} {wrong}");
}

#[test]
fn a_plate_that_is_not_back_tells_nothing() {
    let mut rig = Rig::new(20_000_000, 4);
    let wide = [
        Some(4_400_000),
        Some(4_300_000),
        Some(4_200_000),
        Some(4_100_000),
    ];
    let hits: Vec<_> = wide.iter().copied().cycle().take(40).collect();
    let (_, end) = strike(&mut rig, 1_000_000_000, 5_000_000, &hits);
    rig.pass(Instant::from_ticks(end + 100_000_000));
    let (_, cutter) = rig.cutters()[0];
    assert_eq!((cutter.hits, cutter.deepest), (40, Deepest::CannotTell));
}

#[test]
fn impossible_spindles_are_refused() {
    let new = |turn, teeth| HitsConfig::new(RATE, turn, teeth, 8).map(|_| ());
    assert_eq!(new(20_000_000, 0), Err(HitsError::Teeth));
    assert_eq!(new(20_000_000, 9), Err(HitsError::Teeth));
    assert_eq!(new(100_000, 4), Err(HitsError::TooFast));
    assert_eq!(new(2_000_000_000, 4), Err(HitsError::TooSlow));
    let slow = TickRate::from_hz(1_000).unwrap();
    assert_eq!(
        HitsConfig::new(slow, 1_000_000, 4, 8).map(|_| ()),
        Err(HitsError::TooFast)
    );
}

/// Whatever blocks, touches and releases alternate, and every touch is told once.
#[test]
fn any_blocked_stretches_are_told_in_order() {
    let mut seed = 3_u64;
    let mut next = |most: u64| {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        (seed >> 33) % most + 1
    };
    for round in 0..200 {
        let teeth = 1 + (round % 8) as u8;
        let turn = 80_000 * u64::from(teeth) * next(200);
        let mut rig = Rig::new(turn, teeth);
        let mut at = if round % 2 == 0 {
            u64::MAX - 3_000_000_000
        } else {
            1_000_000
        };
        for _ in 0..60 {
            let most = if next(9) == 1 { 3 * turn } else { turn / 4 };
            let width = next(most);
            rig.blocked(at, width);
            let tooth = turn / u64::from(teeth);
            let gap = if next(3) == 1 { next(turn * 2) } else { tooth };
            at = at.saturating_add(width + gap);
            if next(5) == 1 {
                at = at.saturating_sub(next(50_000));
            }
        }
        rig.pass(Instant::from_ticks(at.saturating_add(4 * turn)));
        let mut touched = false;
        for event in &rig.told {
            match event {
                HitsEvent::Touch(_) => {
                    assert!(!touched);
                    touched = true;
                }
                HitsEvent::Release(..) => {
                    assert!(touched);
                    touched = false;
                }
                HitsEvent::Glitch(_) => {}
            }
        }
    }
}
