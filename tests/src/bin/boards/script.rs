//! What the tool does: touches with chatter, and when each trouble begins.

use fastrand::Rng;

use crate::air::on_board;
use crate::head::HZ;
use crate::START;

/// A millisecond of the probe's timer.
pub(crate) const MS: u64 = HZ as u64 / 1_000;

/// A touch as it truly is, ticks of the probe.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Touch {
    /// The two estimates of which the core takes one where the edges are few: the balance point
    /// of its chatter (first edge and all time back home since), and the minimum of its sum.
    pub(crate) onset: u64,
    /// The later of both; `onset` is the earlier.
    pub(crate) latest: u64,
}

/// A trouble that begins with a touch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Trouble {
    /// Nothing is heard for 300 ms, the touch and its release among it.
    Outage,
    /// Nothing is heard for 30 ms, too short for READY to fall, with three touches among it.
    LostEdges,
    /// The main loop stands for 250 ms, unless it is started anew.
    LoopStands,
    /// The timer stands, the loop runs.
    ClockStands,
    /// The loop comes 5 ms after a touch was due.
    LatePoll,
    /// RUN stays up behind the output stage.
    StuckOutput,
    /// The re-arm wire cannot be read for 100 ms.
    UnreadableWire,
    /// No output can be driven for 50 ms.
    Unwritable,
    /// The main loop of the probe stands for 250 ms.
    HeadStands,
    /// Each frame is handed over six times at once for 300 ms: more than the port has room for.
    FullQueue,
    /// The board has no power for 100 ms.
    PowerLoss,
    /// Noise between the frames for 300 ms.
    Noise,
    /// Frames are heard again, 10 ms late, for 300 ms.
    Replays,
    /// More edges than the queue of the probe holds before its loop comes.
    ManyEdges,
    /// The capture unit gives its first edge again a hundred times.
    RepeatedCapture,
    /// The capture unit stamps nothing, the touch and its release among it.
    StuckCapture,
    /// The capture unit stamps no edge to low.
    OneDirection,
    /// Each edge that the capture unit gives has overwritten another one.
    OverCapture,
    /// The capture unit cannot tell levels.
    UnknownLevel,
    /// The comparator cannot be read for 100 ms, the touch and its release among it.
    UnreadableBarrier,
    /// RUN stays up behind the output stage, and then nothing is heard for 300 s.
    Silence,
    /// Noise on the port for 300 ms: edges and frames of any time and content.
    PortNoise,
}

impl Trouble {
    /// All that a board comes back from.
    pub(crate) const ALL: [Self; 19] = [
        Self::Outage,
        Self::LostEdges,
        Self::ClockStands,
        Self::LatePoll,
        Self::StuckOutput,
        Self::UnreadableWire,
        Self::ManyEdges,
        Self::RepeatedCapture,
        Self::StuckCapture,
        Self::OneDirection,
        Self::OverCapture,
        Self::UnknownLevel,
        Self::UnreadableBarrier,
        Self::Unwritable,
        Self::HeadStands,
        Self::FullQueue,
        Self::Noise,
        Self::Replays,
        Self::LoopStands,
    ];
}

/// The whole course.
#[derive(Debug, Default)]
pub(crate) struct Script {
    /// Edges of the comparator: tick and level after it.
    pub(crate) edges: Vec<(u64, bool)>,
    /// The touches.
    pub(crate) touches: Vec<Touch>,
    /// Which touch each trouble begins with.
    pub(crate) troubles: Vec<(Trouble, Touch)>,
    /// When all is over.
    pub(crate) end: u64,
    /// Until when a tool stands in the light that was there before power was.
    pub(crate) held: Option<u64>,
}

impl Script {
    /// From power-up on: `count` touches, then each of these troubles with a touch of its own, and so many milliseconds
    /// until all has settled.
    pub(crate) fn new(count: usize, troubles: &[Trouble], settle_ms: u64, seed: u64) -> Self {
        let mut random = Rng::with_seed(seed);
        let mut script = Self::default();
        let mut at = START.0 + 600 * MS;
        for _ in 0..count {
            let stays = random.u64(6 * MS..60 * MS);
            script.touch(&mut random, at, stays, 5);
            // Some after a rest in which only beats are sent.
            let rest = if random.u8(..) < 25 { 300 * MS } else { 0 };
            at += stays + rest + random.u64(60 * MS..130 * MS);
        }
        for &trouble in troubles {
            // Second senders are remembered for 10 s, and no hand arms the line before.
            at += if trouble == Trouble::LoopStands {
                14_000 * MS
            } else {
                4_000 * MS
            };
            let pairs = if trouble == Trouble::ManyEdges {
                100
            } else {
                2
            };
            let stays = if trouble == Trouble::LostEdges {
                9 * MS / 2
            } else {
                40 * MS
            };
            let first = script.edges.len();
            let mut touch = script.touch(&mut random, at, stays, pairs);
            if trouble == Trouble::RepeatedCapture {
                let edge = script.edges[first];
                script.edges.splice(first..first, [edge; 100]);
                // Edges that found no room were lost.
                touch.latest += MS;
                if let Some(newest) = script.touches.last_mut() {
                    newest.latest = touch.latest;
                }
            }
            if trouble == Trouble::LostEdges {
                script.touch(&mut random, at + 9 * MS, stays, pairs);
                script.touch(&mut random, at + 18 * MS, stays, pairs);
            }
            script.troubles.push((trouble, touch));
        }
        script.end = at + settle_ms * MS;
        script
    }

    /// The same with a tool in the light from before power-up until 400 ms after it.
    pub(crate) fn held(mut self) -> Self {
        let lets_go = START.0 + 400 * MS;
        self.edges.insert(0, (lets_go, false));
        self.held = Some(lets_go);
        self
    }

    /// Whether `tick` of the probe lies within so many milliseconds after the touch of a trouble.
    pub(crate) fn is(&self, kind: Trouble, tick: u64, ms: u64) -> bool {
        let within = |touch: &Touch| (touch.onset..touch.onset + ms * MS).contains(&tick);
        self.troubles
            .iter()
            .any(|(one, touch)| *one == kind && within(touch))
    }

    /// Whether a port has noise on it, of which no pass is held to a length.
    pub(crate) fn is_noisy(&self) -> bool {
        let mut kinds = self.troubles.iter();
        kinds.any(|(kind, _)| *kind == Trouble::PortNoise)
    }

    /// When the loop of the probe comes that would come at `tick`.
    pub(crate) fn stalled(&self, tick: u64) -> u64 {
        let standing = self.troubles.iter();
        let standing = standing.filter(|(kind, _)| *kind == Trouble::HeadStands);
        let ends = standing.map(|(_, touch)| touch.onset..touch.onset + 250 * MS);
        let mut ends = ends.filter(|stands| stands.contains(&tick));
        ends.next().map_or(tick, |stands| stands.end)
    }

    /// When each trouble begins, ticks of the board.
    pub(crate) fn troubles_on_board(&self) -> Vec<(Trouble, u64)> {
        let troubles = self.troubles.iter();
        troubles
            .map(|(kind, touch)| (*kind, on_board(START, touch.onset)))
            .collect()
    }

    /// A touch at `at` that lasts for about `stays`, with up to so many pairs of chatter edges on either side.
    fn touch(&mut self, random: &mut Rng, at: u64, stays: u64, pairs: u64) -> Touch {
        let (onset, latest) = self.chatter(random, at, true, pairs);
        // Where edges were lost, the touch lies somewhere in its chatter.
        let lost = pairs > 32;
        let latest = self
            .edges
            .last()
            .filter(|_| lost)
            .map_or(latest, |edge| edge.0 + MS);
        self.chatter(random, at + stays, false, pairs);
        let touch = Touch { onset, latest };
        self.touches.push(touch);
        touch
    }

    /// Edges that end at `level`, and both estimates of them.
    fn chatter(&mut self, random: &mut Rng, at: u64, level: bool, pairs: u64) -> (u64, u64) {
        // A burst comes faster than the loop does.
        let (count, dwells) = if pairs > 5 {
            (pairs, 1..4)
        } else {
            (random.u64(0..=pairs), 40..480)
        };
        let (mut now, mut balance, mut sum, mut causal) = (at, at, 0, at);
        self.edges.push((now, level));
        for _ in 0..count {
            let (away, home) = (random.u64(dwells.clone()), random.u64(dwells.clone()));
            self.edges.push((now + away, !level));
            self.edges.push((now + away + home, level));
            now += away + home;
            balance += home;
            sum = u64::saturating_sub(sum + away, home);
            causal = if sum == 0 { now } else { causal };
        }
        (balance.min(causal), balance.max(causal))
    }
}
