//! The doubt of an onset, out of its own chatter.
//!
//! Variance of the balance point, in tick² (ε and c: see [`Chatter`](super::Chatter)):
//!
//! * chatter: c·ε²·(n+1), one random step an edge; held to at least half of what the spread V
//!   of this very touch says, c·V/(n−1);
//! * the ends cut off by the hold: 0.2265·A²·m^(−2/7), A the time and m the edges in the two end
//!   zones (fitted to simulated ramps, not derived; short holds widen it);
//! * capture steps: n·q²/12, every edge being rounded on its own.

use super::chatter::{Chatter, ABOVE_STATED};
use super::class::FeedClass;
use super::config::Config;
use super::contact::{Doubt, DoubtKind};
use super::math;
use crate::flags::Flags;

/// c where no bandwidth was stated, in 1/65536: 0.703, right for a fourth-order low-pass.
const FACTOR_65536: u32 = 46_072;
/// 0.2265·2^(−2k/7) in 1/65536, k = 0..20: share of A² left by end zones of 2^k edges.
const ENDS_65536: [u16; 21] = [
    14_844, 12_177, 9_989, 8_194, 6_722, 5_514, 4_524, 3_711, 3_044, 2_497, 2_049, 1_681, 1_379,
    1_131, 928, 761, 624, 512, 420, 345, 283,
];
/// A hold should last 25 ε, ten mean dwells.
const HOLD_IN_EDGES: u32 = 25;
/// Edges below which a touch alone cannot tell its noise.
const TELLS: u32 = 7;
/// Edges below which a feed class knows better than the touch.
const CLASS_BELOW: u32 = 9;
/// Edges from which on a class is neither asked nor taught.
const CLASS_TAUGHT_BELOW: u32 = 17;

/// Edges of contact that broke up twice or more, and from which on a swinging blade makes them.
const FLUTTERS: u32 = 5;
const SWINGS: u32 = 33;

/// What an episode leaves behind.
pub(super) struct Episode {
    pub edges: u32,
    /// Half the signed second moment, tick².
    pub half_moment: u64,
    /// Time away from the old level before the last edge, ticks.
    pub away: u32,
    /// Time at the old level after the first edge, ticks.
    pub home: u32,
    /// A of the two end zones, ticks, and their edges.
    pub ends: u32,
    pub end_edges: u32,
}

/// Doubt with its kind and the flags it raises.
pub(super) struct Stated {
    pub doubt: Option<Doubt>,
    pub kind: DoubtKind,
    pub flags: Flags,
}

impl Stated {
    /// Whether the doubt is a bound that no chatter of this touch has confirmed.
    pub(super) fn is_upper(&self) -> bool {
        matches!(self.kind, DoubtKind::Assumed | DoubtKind::Limit)
    }
}

/// ε² in 1/256 tick²: learned, else from the stated bandwidth, else by the rule of the hold.
pub(super) fn edge_variance_256(config: &Config, hold: u32, chatter: &Chatter) -> u64 {
    if let Some(learned) = chatter.edge_variance_256() {
        return learned;
    }
    if config.prior_256 > 0 {
        return config.prior_256;
    }
    let edge_16 = math::quotient(u64::from(hold) * 16, HOLD_IN_EDGES);
    (edge_16 * edge_16).max(1)
}

/// The factor c in 1/65536.
///
/// Filter order and hysteresis change c, and they change ε·fc with it. Straight pieces through
/// (ε·fc, c) = (0.21, 0.83), (0.32, 0.70), (0.50, 0.76), (0.84, 1.06), in the square of ε·fc,
/// are fitted to simulated chatter of orders 2 to 8 and of hysteresis up to one sigma; how well
/// the doubt holds there is in the stored grids. Needs the bandwidth to be stated.
fn factor_65536(config: &Config, edge_256: u64) -> u32 {
    if config.prior_256 == 0 {
        return FACTOR_65536;
    }
    // ratio = (ε·fc / 0.32)²; each slope is that of its piece, in 1/256.
    let edge_65536 = edge_256.saturating_mul(256);
    if edge_65536 >> 11 >= config.prior_256 {
        return 69_468;
    }
    match math::long_quotient(edge_65536, config.prior_256, 11) as u32 {
        1764.. => 69_468,
        r @ 625.. => 49_807 + (((r - 625) * 4_419) >> 8),
        r @ 256.. => 45_875 + (((r - 256) * 2_728) >> 8),
        r @ 110.. => 54_395 - (((r - 110) * 14_939) >> 8),
        _ => 54_395,
    }
}

/// States the doubt of `episode` (none where its chatter is wider than the arithmetic, which is
/// more than rough), learning from it first where `teach` gives the class.
pub(super) fn state(
    config: &Config,
    hold: u32,
    episode: &Episode,
    chatter: &mut Chatter,
    class: Option<&mut FeedClass>,
    teach: bool,
) -> Stated {
    let n = episode.edges;
    let moment = episode.half_moment.saturating_mul(2);
    let rough = chatter.is_rough(n, moment, config.prior_256);
    let mut whole = episode.away < u32::MAX && episode.home < u32::MAX;
    if teach && whole {
        whole = chatter.learn(n, moment, rough);
    }
    let edge = edge_variance_256(config, hold, chatter);
    let mut flags = Flags::NONE;
    let mut kind = match (chatter.edge_variance_256(), n) {
        (None, _) => DoubtKind::Assumed,
        (_, ..TELLS) => DoubtKind::Limit,
        _ => DoubtKind::Measured,
    };

    let factor = factor_65536(config, edge);
    let step = math::mul_shift(edge, factor, 16);
    let mut variance = math::mul(step, n.saturating_add(1));
    if let Some(class) = class {
        if n < CLASS_TAUGHT_BELOW && teach {
            class.count(n, rough);
        }
        if n < CLASS_BELOW {
            // The table is relative to ε² at c = 0.684; the factor carries over to other c.
            let relative = math::mul_shift(edge, class.relative_variance_1024(), 10);
            variance = math::mul_shift(relative, (factor * 1497) >> 10, 16);
            if class.settled() && kind == DoubtKind::Limit {
                kind = DoubtKind::Pooled;
            }
        }
    }
    let spread = match math::quotient_256(moment, n - 1) {
        // Too wide for the arithmetic: then too wide for any doubt.
        u64::MAX => u64::MAX,
        spread => math::mul_shift(spread, factor, 16),
    };
    if rough {
        kind = DoubtKind::Rough;
        flags.insert(Flags::ROUGH);
        flags.insert_if(Flags::VIBRATION, n >= SWINGS);
        flags.insert_if(Flags::FLUTTER, flutters(config, episode, edge));
        variance = variance.max(spread);
        if n >= 5 {
            // Twice the doubt then spans first edge, onset and last edge.
            let half = episode.away.max(episode.home) / 2;
            variance = variance.max(math::mul(math::square(half), 282));
        }
    } else {
        variance = variance.max(if spread == u64::MAX {
            spread
        } else {
            spread / 2
        });
    }

    let mut ends = cut_ends(episode);
    if math::mul(edge, HOLD_IN_EDGES * HOLD_IN_EDGES) >> 8 > math::square(hold) {
        flags.insert(Flags::SHORT_HOLD);
        flags.insert_if(Flags::FLUTTER, flutters(config, episode, edge));
        let needed_16 = u64::from(math::root_up(edge)) * u64::from(HOLD_IN_EDGES);
        let ratio_256 = math::quotient_256(needed_16, hold) >> 4;
        ends = math::mul_shift(ends, u32::try_from(ratio_256).unwrap_or(u32::MAX), 8);
    }
    let steps = math::mul(config.step_variance_256, n);
    let total = variance.saturating_add(ends).saturating_add(steps);
    if !whole || total == u64::MAX {
        flags.insert(Flags::ROUGH);
        return Stated {
            doubt: None,
            kind: DoubtKind::Rough,
            flags,
        };
    }
    Stated {
        doubt: Some(Doubt::from_sixteenths(math::root_up(total))),
        kind,
        flags,
    }
}

/// Whether contact broke up a few times before it held: few edges with long runs between them,
/// more than 16 ε on average where noise makes some 5. Contact that always flutters has taught
/// the line to expect it; the stated bandwidth still knows better.
#[cold]
#[inline(never)]
fn flutters(config: &Config, episode: &Episode, edge_256: u64) -> bool {
    let few = (FLUTTERS..SWINGS).contains(&episode.edges);
    let edge_256 = match config.prior_256 {
        0 => edge_256,
        stated => edge_256.min(stated.saturating_mul(ABOVE_STATED)),
    };
    let runs = episode.edges - 1;
    let span = episode.away.saturating_add(episode.home);
    // (16 ε)² in ticks is ε² in 1/256.
    few && math::square(span) > math::mul(math::mul(edge_256, runs), runs)
}

/// Variance from the ends of the chatter that the hold cut off, 1/256 tick².
fn cut_ends(episode: &Episode) -> u64 {
    if episode.ends == 0 {
        return 0;
    }
    let share = math::by_octave(&ENDS_65536, episode.end_edges, 0);
    math::mul_shift(math::square(episode.ends), share, 8)
}
