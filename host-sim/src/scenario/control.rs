//! `[control]`, `[tool]`, the delay of a wire and the reaction: what stands between a touch and the
//! axis, for advice on the feed.

use trueonset::wired::WiredPlan;

use super::kind::Value;
use super::link::Link;
use super::tables::Tables;
use crate::fault::{Fault, Place};
use crate::model::buckling::Bar;

/// The control, and the delay of the trigger that it sees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Control {
    /// D: from contact to the edge of the output, s.
    pub delay: f64,
    /// From that edge to the begin of braking, s; never sooner than the input can be seen.
    pub reaction: f64,
    /// Constant delay of the input, s.
    pub input_delay: f64,
    /// Width of its jitter, s.
    pub input_jitter: f64,
    /// How the position is taken.
    pub latching: Latching,
    /// Half width of the doubt of the feed, share of it.
    pub feed_error: f64,
}

/// How a control takes the position.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Latching {
    /// At the edge of the trigger; the way since contact is feed times delay.
    Edge,
    /// Out of positions stored every so many seconds, at the instant that the delay leads back to.
    History {
        /// From one position to the next, s.
        period: f64,
    },
    /// When a cyclic scan sees the edge.
    Scan {
        /// From one scan to the next, s.
        period: f64,
    },
}

impl Latching {
    /// The word of the scenario.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Edge => "edge",
            Self::History { .. } => "history",
            Self::Scan { .. } => "scan",
        }
    }
}

impl Control {
    /// The control that `tables` state, behind `link` or a wire.
    ///
    /// # Errors
    /// A wire whose delay a touch cannot keep.
    pub fn of(tables: &Tables, link: Option<&Link>, hold_ns: u64) -> Result<Self, Fault> {
        let delay_ns = match link {
            Some(link) => f64::from(link.plan.delay_ns),
            None => tables
                .number("link.delay")
                .map_or(f64::from(WiredPlan::USUAL.delay_ns), |s| s * 1e9),
        };
        if delay_ns <= hold_ns as f64 {
            return Err(Fault::new(
                format!(
                    "a delay of {} ms beside a hold of {} ms",
                    delay_ns / 1e6,
                    hold_ns as f64 / 1e6
                ),
                "a delay longer than the hold: a touch is not told before",
                "state a longer link.delay, or a shorter onset.hold",
            )
            .at(Place::Setting(format!("{}: link.delay", tables.source()))));
        }
        let period = tables.si("control.period");
        let (input_delay, input_jitter) = (
            tables.si("control.input_delay"),
            tables.si("control.input_jitter"),
        );
        Ok(Self {
            delay: delay_ns * 1e-9,
            reaction: tables
                .si("approach.reaction")
                .max(input_delay + input_jitter),
            input_delay,
            input_jitter,
            latching: match tables.stated("control.latch") {
                Some(Value::Word("history")) => Latching::History { period },
                Some(Value::Word("scan")) => Latching::Scan { period },
                _ => Latching::Edge,
            },
            feed_error: tables.si("control.feed_error"),
        })
    }

    /// From contact to the begin of braking, s, without the bound of a link.
    #[must_use]
    pub fn late(&self) -> f64 {
        self.delay + self.reaction
    }
}

/// The tool that `tables` state, as a bar; none without diameter and length.
#[must_use]
pub fn slim(tables: &Tables) -> Option<Bar> {
    Some(Bar {
        diameter: tables.number("tool.diameter")?,
        length: tables.number("tool.length")?,
        modulus: tables.si("tool.modulus"),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::Scenario;

    fn of(text: &str) -> Result<Control, Fault> {
        let tables = Tables::parse(text, "s.toml")?;
        let scenario = Scenario::of(&tables)?;
        Control::of(&tables, scenario.link.as_ref(), scenario.hold_ns)
    }

    #[test]
    fn delays_are_those_of_the_plans_where_none_is_stated() {
        let delay = |text: &str| of(text).unwrap().delay;
        assert!((delay("") - 5e-3).abs() < 1e-12);
        assert!((delay("[link]\nmedium = \"wired\"\ndelay = \"2ms\"\n") - 2e-3).abs() < 1e-12);
        assert!((delay("[link]\n") - 48e-3).abs() < 1e-12);
        let why = of("[link]\nmedium = \"wired\"\ndelay = \"1ms\"\n")
            .unwrap_err()
            .to_string();
        assert!(why.starts_with("s.toml: link.delay"), "{why}");
    }

    #[test]
    fn braking_never_begins_before_the_input_is_seen() {
        let late = of("[approach]\nreaction = \"1ms\"\n[control]\ninput_delay = \"3ms\"\ninput_jitter = \"1ms\"\n");
        assert!((late.unwrap().late() - 9e-3).abs() < 1e-12);
    }
}
