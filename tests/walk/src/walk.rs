//! Every state that can be reached, breadth first.

use std::collections::{HashSet, VecDeque};
use std::fmt::Display;
use std::hash::{BuildHasherDefault, Hash, Hasher};

/// A rule that was broken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Broken {
    /// Name of the rule.
    pub(crate) rule: &'static str,
    /// What happened.
    pub(crate) what: String,
}

/// `rule` is broken.
pub(crate) fn broken(rule: &'static str, what: impl Into<String>) -> Result<(), Broken> {
    Err(Broken {
        rule,
        what: what.into(),
    })
}

/// What is walked through.
pub(crate) trait Rules {
    /// A state.
    type World: Clone + Hash;
    /// What may happen to it.
    type Choice: Copy + Display;

    /// Where all begins.
    fn start(&self) -> Self::World;

    /// All that may happen next.
    fn choices(&self, world: &Self::World) -> Vec<Self::Choice>;

    /// The state after it.
    ///
    /// # Errors
    /// The rule that was broken.
    fn step(&self, world: &Self::World, choice: Self::Choice) -> Result<Self::World, Broken>;

    /// How long READY takes to come on a perfect channel; the way there goes into `path`.
    ///
    /// # Errors
    /// It does not come, or a rule breaks on the way.
    fn recovers(&self, world: &Self::World, path: &mut Vec<Self::Choice>) -> Result<u32, Broken>;
}

/// What a walk came to.
#[derive(Debug)]
pub(crate) struct Walked {
    /// States met.
    pub(crate) states: u64,
    /// Choices gone from one to another.
    pub(crate) transitions: u64,
    /// Most choices from the start to a state.
    pub(crate) depth: u32,
    /// Whether all were gone through, or the limit came first.
    pub(crate) closed: bool,
    /// States from which READY was seen to return, and the longest it took.
    pub(crate) recovered: (u64, u32),
    /// The first rule that was broken, and the way there.
    pub(crate) broken: Option<(Broken, Vec<String>)>,
}

/// From one state in so many READY must return.
const RECOVERY_EVERY: u64 = 256;

/// States are told apart by a hash of 64 bits. That two of n share one, and the second is not
/// gone into, has a chance of n² / 2^65: 4e-5 for 4e7 states.
fn key(world: &impl Hash) -> u64 {
    let mut hasher = Folded(0x243F_6A88_85A3_08D3);
    world.hash(&mut hasher);
    hasher.finish()
}

/// Folds both halves of a product with an odd constant: a state is hashed in much less time than a
/// tick takes.
struct Folded(u64);

impl Folded {
    fn mix(&mut self, word: u64) {
        let product = u128::from(self.0 ^ word) * 0x9E37_79B9_7F4A_7C15;
        // Not 0 for 0, so that no word is without effect.
        self.0 = ((product as u64) ^ (product >> 64) as u64).wrapping_add(0xD6E8_FEB8_6659_FD93);
    }
}

impl Hasher for Folded {
    fn finish(&self) -> u64 {
        let mut last = Self(self.0.rotate_left(32));
        last.mix(0);
        last.0
    }

    fn write(&mut self, bytes: &[u8]) {
        for chunk in bytes.chunks(8) {
            let mut word = [0; 8];
            word[..chunk.len()].copy_from_slice(chunk);
            self.mix(u64::from_le_bytes(word));
        }
    }

    fn write_u8(&mut self, word: u8) {
        self.mix(u64::from(word));
    }

    fn write_u32(&mut self, word: u32) {
        self.mix(u64::from(word));
    }

    fn write_u64(&mut self, word: u64) {
        self.mix(word);
    }

    fn write_usize(&mut self, word: usize) {
        self.mix(word as u64);
    }
}

/// Keys are hashes already.
#[derive(Default)]
struct AsIs(u64);

impl Hasher for AsIs {
    fn finish(&self) -> u64 {
        self.0
    }

    fn write(&mut self, _: &[u8]) {}

    fn write_u64(&mut self, key: u64) {
        self.0 = key;
    }
}

/// Goes through all states of `rules`, up to `limit` of them.
pub(crate) fn walk<R: Rules>(rules: &R, limit: u64) -> Walked {
    let mut met: HashSet<u64, BuildHasherDefault<AsIs>> = HashSet::default();
    // From which state, by which choice.
    let mut came: Vec<(u32, u16)> = vec![(0, 0)];
    let mut next = VecDeque::new();
    let start = rules.start();
    met.insert(key(&start));
    next.push_back((start, 0_u32, 0_u32));
    let mut walked = Walked {
        states: 1,
        transitions: 0,
        depth: 0,
        closed: true,
        recovered: (0, 0),
        broken: None,
    };
    while let Some((world, id, depth)) = next.pop_front() {
        walked.depth = depth;
        if u64::from(id) % RECOVERY_EVERY == 0 {
            let mut path = Vec::new();
            match rules.recovers(&world, &mut path) {
                Ok(ticks) => {
                    walked.recovered.0 += 1;
                    walked.recovered.1 = walked.recovered.1.max(ticks);
                }
                Err(broken) => {
                    let mut whole = way(rules, &came, id);
                    whole.extend(path.iter().map(ToString::to_string));
                    walked.broken = Some((broken, whole));
                    return walked;
                }
            }
        }
        for (k, choice) in rules.choices(&world).into_iter().enumerate() {
            walked.transitions += 1;
            match rules.step(&world, choice) {
                Ok(after) => {
                    if walked.states < limit {
                        if met.insert(key(&after)) {
                            walked.states += 1;
                            let id_after = came.len() as u32;
                            came.push((id, k as u16));
                            next.push_back((after, id_after, depth + 1));
                        }
                    } else if !met.contains(&key(&after)) {
                        walked.closed = false;
                    }
                }
                Err(broken) => {
                    let mut path = way(rules, &came, id);
                    path.push(choice.to_string());
                    walked.broken = Some((broken, path));
                    return walked;
                }
            }
        }
    }
    walked
}

/// The choices from the start to state `id`.
fn way<R: Rules>(rules: &R, came: &[(u32, u16)], id: u32) -> Vec<String> {
    let mut steps = Vec::new();
    let mut at = id;
    while at != 0 {
        let (from, choice) = came[at as usize];
        steps.push(choice);
        at = from;
    }
    let mut world = rules.start();
    let mut path = Vec::new();
    for step in steps.into_iter().rev() {
        let choice = rules.choices(&world)[usize::from(step)];
        path.push(choice.to_string());
        match rules.step(&world, choice) {
            Ok(after) => world = after,
            Err(_) => break,
        }
    }
    path
}
