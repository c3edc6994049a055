//! Every state that can be reached, breadth first.

use std::collections::hash_map::DefaultHasher;
use std::collections::{HashSet, VecDeque};
use std::hash::{Hash, Hasher};

use crate::setting::Setting;
use crate::world::{Broken, Choice, World};

/// What a walk came to.
#[derive(Debug)]
pub(crate) struct Walked {
    /// States met.
    pub(crate) states: u64,
    /// Ticks gone from one to another.
    pub(crate) transitions: u64,
    /// Whether all were gone through, or the limit came first.
    pub(crate) closed: bool,
    /// States from which READY was seen to return, and the most ticks it took.
    pub(crate) recovered: (u64, u32),
    /// The first rule that was broken, and the way there.
    pub(crate) broken: Option<(Broken, Vec<Choice>)>,
}

/// From one state in so many READY must return.
const RECOVERY_EVERY: u64 = 256;

fn key(world: &World) -> u64 {
    let mut hasher = DefaultHasher::new();
    world.hash(&mut hasher);
    hasher.finish()
}

/// Goes through all states of `setting`, up to `limit` of them.
///
/// # Errors
/// The setting breaks a rule of the constructor.
pub(crate) fn walk(setting: &Setting, limit: u64) -> Result<Walked, String> {
    let config = setting
        .config()
        .map_err(|why| format!("{}: {why}", setting.name))?;
    let mut met = HashSet::new();
    // From which state, by which choice.
    let mut came: Vec<(u32, u16)> = vec![(0, 0)];
    let mut next = VecDeque::new();
    let start = World::new(setting);
    met.insert(key(&start));
    next.push_back((start, 0_u32));
    let mut walked = Walked {
        states: 1,
        transitions: 0,
        closed: true,
        recovered: (0, 0),
        broken: None,
    };
    while let Some((world, id)) = next.pop_front() {
        if u64::from(id) % RECOVERY_EVERY == 0 {
            let mut path = Vec::new();
            match world.recovers(setting, &config, &mut path) {
                Ok(ticks) => {
                    walked.recovered.0 += 1;
                    walked.recovered.1 = walked.recovered.1.max(ticks);
                }
                Err(broken) => {
                    let mut whole = way(setting, &came, id);
                    whole.append(&mut path);
                    walked.broken = Some((broken, whole));
                    return Ok(walked);
                }
            }
        }
        for (k, choice) in world.choices(setting).into_iter().enumerate() {
            walked.transitions += 1;
            match world.step(setting, &config, choice) {
                Ok(after) => {
                    if walked.states < limit {
                        if met.insert(key(&after)) {
                            walked.states += 1;
                            let id_after = came.len() as u32;
                            came.push((id, k as u16));
                            next.push_back((after, id_after));
                        }
                    } else {
                        walked.closed = false;
                    }
                }
                Err(broken) => {
                    let mut path = way(setting, &came, id);
                    path.push(choice);
                    walked.broken = Some((broken, path));
                    return Ok(walked);
                }
            }
        }
    }
    Ok(walked)
}

/// The choices from the start to state `id`.
fn way(setting: &Setting, came: &[(u32, u16)], id: u32) -> Vec<Choice> {
    let mut steps = Vec::new();
    let mut at = id;
    while at != 0 {
        let (from, choice) = came[at as usize];
        steps.push(choice);
        at = from;
    }
    let Ok(config) = setting.config() else {
        return Vec::new();
    };
    let mut world = World::new(setting);
    let mut path = Vec::new();
    for step in steps.into_iter().rev() {
        let choice = world.choices(setting)[usize::from(step)];
        path.push(choice);
        match world.step(setting, &config, choice) {
            Ok(after) => world = after,
            Err(_) => break,
        }
    }
    path
}
