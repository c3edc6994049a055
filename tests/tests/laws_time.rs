//! Laws of time: arithmetic against 128 bits, and narrow counters that become instants.

mod common;

use common::{at, cases};
use proptest::prelude::*;
use trueonset::edge::{Edge, Level};
use trueonset::flags::Flags;
use trueonset::onset::{Config, Line};
use trueonset::time::{Bits, Counter, FineInstant, Span, TickRate};

proptest! {
    #![proptest_config(cases(1_500))]

    /// Stamps of a narrow counter with housekeeping every less than half a turn.
    #[test]
    fn a_widened_counter_gives_the_events_of_64_bit_stamps(
        gaps in prop::collection::vec(prop_oneof![4 => 1_u64..120, 1 => 120_u64..20_000], 1..120),
        bits in prop_oneof![Just((Bits::B16, 16)), Just((Bits::B24, 24)), Just((Bits::B32, 32))],
        // Around a wrap of the counter, and around 2^32 and 2^63.
        base in prop_oneof![Just(1_u64 << 24), Just(1 << 32), Just(1 << 63), 0_u64..1 << 40],
        turns_apart in 0_u64..3,
        house in 1_u64..=100,
    ) {
        let (bits, width) = bits;
        let config = Config::new(TickRate::NANOSECONDS, 1_000).unwrap();
        let turn = 1_u64 << width;
        let mut time = base.saturating_sub(2_000);
        let raw = |time: u64| (time & (turn - 1)) as u32;
        let mut counter = Counter::new(bits, at(time));
        let mut wide = Line::new(&config, Level::Low, at(time));
        let mut narrow = wide.clone();
        let mut level = Level::Low;
        for (i, gap) in gaps.iter().enumerate() {
            let mut gap = *gap;
            level = if level == Level::Low { Level::High } else { Level::Low };
            if i % 16 == 15 {
                gap += turns_apart * turn + turn / 3;
            }
            // Housekeeping: the counter is read at times below half a turn apart.
            let step = (turn / 2 - 1) * house / 100;
            let step = step.max(turn / 64);
            while gap > step {
                time += step;
                gap -= step;
                let stamp = counter.widen(raw(time));
                prop_assert_eq!((stamp.at.ticks(), stamp.faults), (time, Flags::NONE));
            }
            time += gap;
            let stamp = counter.widen(raw(time));
            let expected = wide.edge(&config, Edge::new(at(time), level));
            prop_assert_eq!(narrow.edge(&config, Edge::captured(stamp, level)), expected);
        }
        prop_assert_eq!(narrow.poll(&config, at(u64::MAX)), wide.poll(&config, at(u64::MAX)));
    }

    /// A second clock that is off by less than a quarter turn finds every stamp.
    #[test]
    fn a_coarse_clock_or_a_turn_count_makes_any_stamp_exact(
        times in prop::collection::vec((0_u64..1 << 47, any::<u16>()), 1..50),
    ) {
        for (bits, width) in [(Bits::B16, 16_u32), (Bits::B24, 24), (Bits::B32, 32)] {
            let turn = 1_u64 << width;
            let mut by_turns = Counter::new(bits, at(0));
            let mut by_clock = Counter::new(bits, at(0));
            let mut sorted: Vec<_> = times.iter().map(|(time, off)| (time % (turn << 15) + turn, off)).collect();
            sorted.sort_unstable();
            for (time, off) in sorted {
                let raw = (time % turn) as u32;
                let stamp = by_turns.widen_with_turns(raw, u32::try_from(time / turn).unwrap());
                prop_assert_eq!((stamp.at.ticks(), stamp.faults), (time, Flags::NONE));
                let off = turn / 2 * u64::from(*off) / 65_536;
                let coarse = time + off - turn / 4;
                let stamp = by_clock.widen_with_coarse(raw, at(coarse));
                prop_assert_eq!((stamp.at.ticks(), stamp.faults), (time, Flags::NONE));
            }
        }
    }
}

/// `u64` with a liking for its ends and for the powers in between.
fn corner() -> impl Strategy<Value = u64> {
    prop_oneof![
        any::<u64>(),
        0_u64..4,
        (u64::MAX - 3)..=u64::MAX,
        ((1_u64 << 63) - 2)..=((1 << 63) + 2),
        ((1_u64 << 32) - 2)..=((1 << 32) + 2),
    ]
}

fn held(value: i128, low: i128, high: i128) -> i128 {
    value.max(low).min(high)
}

proptest! {
    #![proptest_config(cases(20_000))]

    #[test]
    fn instants_and_spans_equal_128_bit_arithmetic(a in corner(), b in corner(), span in any::<i64>()) {
        let most = i128::from(i64::MAX);
        let exact = held(i128::from(a) - i128::from(b), -most, most);
        prop_assert_eq!(i128::from(at(a).since(at(b)).ticks()), exact);
        for span in [span, span >> 40, i64::MIN, i64::MAX, -1, 1, 0] {
            let exact = held(i128::from(a) + i128::from(span), 0, i128::from(u64::MAX));
            prop_assert_eq!(i128::from(at(a).saturating_add(Span::from_ticks(span)).ticks()), exact);
        }
        prop_assert_eq!(at(a).cmp(&at(b)), a.cmp(&b));
    }

    #[test]
    fn fine_instants_equal_128_bit_arithmetic(a in corner(), parts in any::<i32>(), small in -600_i32..600) {
        for parts in [parts, small, i32::MIN, i32::MAX] {
            let fine = FineInstant::new(at(a), parts);
            let got = i128::from(fine.whole().ticks()) * 256 + i128::from(fine.part_256());
            let exact = i128::from(a) * 256 + i128::from(parts);
            let most = i128::from(u64::MAX) * 256 + 255;
            prop_assert_eq!(got, held(exact, 0, most));
            let nearest = held((got + 128) >> 8, 0, i128::from(u64::MAX));
            prop_assert_eq!(i128::from(fine.nearest().ticks()), nearest);
        }
    }

    #[test]
    fn conversions_are_rounded_once(x in corner(), hz in 1_u32..) {
        let rate = TickRate::from_hz(hz).unwrap();
        let scaled = |to: u128, from: u128| {
            let exact = (u128::from(x) * to + from / 2) / from;
            u64::try_from(exact).unwrap_or(u64::MAX)
        };
        prop_assert_eq!(rate.ns(x), scaled(1_000_000_000, u128::from(hz)));
        prop_assert_eq!(rate.ticks_from_ns(x), scaled(u128::from(hz), 1_000_000_000));
    }
}
