//! All that may happen in a tick.

use trueonset::frame::Kind;

use super::World;
use crate::setting::Setting;

/// What probe, channel and machine do in a tick.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Choice {
    /// An edge happens.
    pub(crate) edge: bool,
    /// Error of the clock.
    pub(crate) error: i8,
    /// How sure it is.
    pub(crate) sure: Sure,
    /// What is handed in.
    pub(crate) air: Air,
    /// Level of the re-arm wire.
    pub(crate) wire: bool,
    /// The main loop stands still.
    pub(crate) stall: bool,
}

impl std::fmt::Display for Choice {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.edge {
            f.write_str("edge, ")?;
        }
        match self.air {
            Air::Nothing => f.write_str("silence")?,
            Air::BadTag => f.write_str("bad tag")?,
            Air::Second => f.write_str("second sender")?,
            Air::Frame {
                back,
                kind,
                replay,
                says,
            } => {
                let sent = if replay { "replayed" } else { "sent" };
                write!(f, "{kind:?} frame {sent} {back} slots back ({says:?})")?;
            }
        }
        write!(f, ", clock {:+}", self.error)?;
        match self.sure {
            Sure::Yes => {}
            Sure::Unlocked => f.write_str(" without a lock")?,
            Sure::Clash => f.write_str(" that contradicts itself")?,
        }
        if self.wire {
            f.write_str(", wire high")?;
        }
        if self.stall {
            f.write_str(", main loop stands")?;
        }
        Ok(())
    }
}

/// What comes out of the air.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Air {
    /// Nothing.
    Nothing,
    /// The frame of so many slots back, stamped when it was sent or (a replay) now.
    Frame {
        /// Slots back.
        back: u64,
        /// Its kind.
        kind: Kind,
        /// Sent again now.
        replay: bool,
        /// What else it says.
        says: Says,
    },
    /// A bad tag.
    BadTag,
    /// A genuine frame of a slot far from the present one: a second sender with the same key.
    Second,
}

/// How sure the clock is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Sure {
    /// Within its bound.
    Yes,
    /// It has no bound.
    Unlocked,
    /// The newest frame contradicts those before.
    Clash,
}

/// What a frame says besides edges.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Says {
    /// Contact as it is, measuring.
    Plain,
    /// An edge is being confirmed.
    Between,
    /// The probe has a fault.
    Fault,
    /// It stands by.
    Standby,
}

impl World {
    /// All that may happen in the next tick.
    #[must_use]
    pub(crate) fn choices(&self, setting: &Setting) -> Vec<Choice> {
        let now = self.now + 1;
        let edges: &[bool] = if self.untold {
            // An edge that is being confirmed is told now or later.
            if now - self.newest_at >= setting.hold {
                &[true]
            } else {
                &[false, true]
            }
        } else if now - self.newest_at >= setting.apart {
            &[false, true]
        } else {
            &[false]
        };
        let mut airs = vec![Air::Nothing];
        for back in 0..setting.back {
            let mut kinds = vec![Kind::Normal];
            if setting.older {
                kinds.push(Kind::Older);
            }
            if setting.hello {
                kinds.push(Kind::Hello);
            }
            for kind in kinds {
                let mut says = vec![Says::Plain];
                if kind == Kind::Normal {
                    if setting.wire {
                        says.push(Says::Between);
                    }
                    if setting.fault {
                        says.push(Says::Fault);
                    }
                    if setting.standby {
                        says.push(Says::Standby);
                    }
                }
                for says in says {
                    for replay in [false, true] {
                        airs.push(Air::Frame {
                            back,
                            kind,
                            replay,
                            says,
                        });
                    }
                }
            }
        }
        if setting.flood > 0 {
            airs.push(Air::BadTag);
        }
        if setting.strangers > 0 {
            airs.push(Air::Second);
        }
        let wires: &[bool] = if setting.wire {
            &[false, true]
        } else {
            // Down and up in turn while something is latched: a rise every other tick.
            if self.link.causes().is_empty() || self.wire {
                &[false]
            } else {
                &[true]
            }
        };
        let stalls: &[bool] = if self.stalled < setting.stall {
            &[false, true]
        } else {
            &[false]
        };
        let bound = setting.bound as i8;
        let mut all = Vec::new();
        for &edge in edges {
            for &air in &airs {
                for &stall in stalls {
                    for &wire in wires {
                        let with = |error, sure| Choice {
                            edge,
                            error,
                            sure,
                            air,
                            wire,
                            stall,
                        };
                        all.extend((-bound..=bound).map(|error| with(error, Sure::Yes)));
                        if setting.unsure && matches!(air, Air::Frame { .. }) {
                            all.push(with(0, Sure::Unlocked));
                            all.push(with(0, Sure::Clash));
                        }
                    }
                }
            }
        }
        all
    }
}
