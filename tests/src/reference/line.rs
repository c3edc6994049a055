//! From single edges to episodes.
//!
//! An episode begins with the first edge away from the settled level and ends when one level has
//! lasted a hold. A known level that is merely confirmed (the same level twice, or the same level
//! after a blind time) leaves a mark in the list without being an edge: from there on the level is
//! vouched for anew.

use super::doubt::{Class, Hardware};
use super::estimate::{Episode, Mark};
use super::{Contact, Event, Glitch, Input, Level, Setup, Words};

/// Where edges went, counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Edges of touches.
    pub touches: usize,
    /// Edges of releases.
    pub releases: usize,
    /// Edges of glitches.
    pub glitches: usize,
    /// The edge that told the level of a line of unknown level.
    pub initial: usize,
    /// Edges not used.
    pub refused: usize,
    /// Edges of the open episode.
    pub pending: usize,
}

/// What is known of the present level.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sight {
    Clear,
    Blind,
    NeverSeen,
}

/// One line with its whole past.
#[derive(Clone, Debug)]
pub struct Line {
    setup: Setup,
    /// Everything used so far, the start first.
    past: Vec<Mark>,
    /// Where in `past` the open episode begins.
    open: Option<usize>,
    settled: bool,
    sight: Sight,
    remarks: Words,
    /// Longest quiet run at the settled level that ended in an edge, since the last change.
    rest: i128,
    hardware: Hardware,
    class: Option<Class>,
    counts: Counts,
}

impl Line {
    /// A line that stands at `level` since `at`.
    #[must_use]
    pub fn new(setup: &Setup, level: Level, at: i128) -> Self {
        let touching = is_touched(setup, level);
        Self {
            setup: setup.clone(),
            past: vec![Mark {
                at,
                touching,
                edge: false,
            }],
            open: None,
            settled: touching,
            sight: if level == Level::Unknown {
                Sight::NeverSeen
            } else {
                Sight::Clear
            },
            remarks: Words::new(),
            rest: 0,
            hardware: Hardware::default(),
            class: None,
            counts: Counts::default(),
        }
    }

    /// The same line with a promise that its touches are made at one feed.
    #[must_use]
    pub fn with_class(mut self) -> Self {
        self.class = Some(Class::default());
        self
    }

    /// Where the edges went.
    #[must_use]
    pub fn counts(&self) -> Counts {
        let pending = self.open.map_or(0, |start| edges_in(&self.past[start..]));
        Counts {
            pending,
            ..self.counts
        }
    }

    /// Whether the line is in contact.
    #[must_use]
    pub fn settled(&self) -> bool {
        self.settled
    }

    /// Time has come to `now` without a further edge.
    pub fn pass(&mut self, now: i128) -> Option<Event> {
        let start = self.open?;
        let last = self.last();
        let hold = self.hold();
        if self.sight != Sight::Clear || now - last.at < hold {
            return None;
        }
        self.open = None;
        let remarks = std::mem::take(&mut self.remarks);
        if last.touching == self.settled {
            let episode = Episode::new(&self.past[start..], self.settled);
            self.counts.glitches += episode.edges();
            return Some(Event::Glitch(Glitch {
                first: episode.first(),
                last: last.at,
                width: episode.time_away(),
                edges: episode.edges(),
                flags: remarks,
            }));
        }
        Some(Event::Contact(self.judge(start, hold, remarks)))
    }

    fn judge(&mut self, start: usize, hold: i128, remarks: Words) -> Contact {
        let release = self.settled;
        let episode = Episode::new(&self.past[start..], self.settled);
        let stated = self
            .hardware
            .state(&self.setup, hold, &episode, self.class.as_mut(), release);
        let (balance, causal) = (episode.balance(), episode.causal());
        let mut flags = remarks;
        flags.extend(stated.flags);
        // Few edges and estimates further apart than 2/fc, one edge being worth 0.32/fc.
        let apart = (balance - causal).unsigned_abs() as f64;
        let allowed = 2.0 / 0.32 * stated.edge_variance.sqrt();
        let few = episode.edges() <= 9;
        let hybrid = few && apart > allowed;
        if hybrid {
            flags.insert("hybrid");
        }
        let shallow = release && self.rest < 8 * hold;
        if shallow {
            flags.insert("shallow");
            // No doubt, so no bound of one.
            flags.remove("upper");
        }
        let count = if release {
            &mut self.counts.releases
        } else {
            &mut self.counts.touches
        };
        *count += episode.edges();
        let contact = Contact {
            release,
            first: episode.first(),
            last: self.last().at,
            confirmed: self.last().at + hold,
            edges: episode.edges(),
            balance,
            causal,
            onset: if hybrid { causal } else { balance },
            doubt: (!shallow).then_some(stated.parts),
            kind: stated.kind,
            flags,
            close_call: stated.close_call || (few && super::doubt::close(apart, allowed)),
        };
        self.settled = !self.settled;
        self.rest = 0;
        contact
    }

    /// The next edge; first what had become due before it.
    pub fn edge(&mut self, input: Input) -> Option<Event> {
        let event = self.pass(input.at);
        let hold = self.hold();
        let mut at = input.at;
        if self.open.is_none() && at - self.last().at >= hold {
            self.remarks.clear();
        }
        let mut restarted = false;
        if at < self.last().at {
            self.remarks.insert("time_back");
            if self.last().at - at < hold {
                at = self.last().at;
            } else {
                restarted = true;
                self.restart(at);
            }
        }
        self.remarks.extend(input.remark);
        if input.level == Level::Unknown {
            self.remarks.insert("unknown_level");
            if self.sight != Sight::NeverSeen {
                // Until here the old level was there.
                self.sight = Sight::Blind;
                self.past.push(Mark {
                    at,
                    edge: false,
                    ..self.last()
                });
            }
            self.counts.refused += 1;
            return event;
        }
        let touching = is_touched(&self.setup, input.level);
        let sight = std::mem::replace(&mut self.sight, Sight::Clear);
        if sight == Sight::NeverSeen {
            self.settled = touching;
            self.counts.initial += 1;
            self.past.push(Mark {
                at,
                touching,
                edge: false,
            });
        } else if touching == self.last().touching {
            if sight == Sight::Clear && !restarted {
                self.remarks.insert("lost_edge");
            }
            self.counts.refused += 1;
            self.past.push(Mark {
                at,
                touching,
                edge: false,
            });
        } else {
            if self.open.is_none() {
                if sight == Sight::Clear {
                    self.rest = self.rest.max(at - self.last().at);
                }
                self.open = Some(self.past.len());
            }
            self.past.push(Mark {
                at,
                touching,
                edge: true,
            });
        }
        event
    }

    /// The clock jumped back: the open episode is worth nothing.
    fn restart(&mut self, at: i128) {
        if let Some(start) = self.open.take() {
            self.counts.refused += edges_in(&self.past[start..]);
        }
        self.past.push(Mark {
            at,
            touching: self.settled,
            edge: false,
        });
        self.rest = 0;
    }

    fn last(&self) -> Mark {
        self.past[self.past.len() - 1]
    }

    fn hold(&self) -> i128 {
        if self.settled {
            self.setup.release_hold
        } else {
            self.setup.hold
        }
    }
}

fn is_touched(setup: &Setup, level: Level) -> bool {
    level
        == if setup.touched_high {
            Level::High
        } else {
            Level::Low
        }
}

fn edges_in(marks: &[Mark]) -> usize {
    marks.iter().filter(|mark| mark.edge).count()
}
