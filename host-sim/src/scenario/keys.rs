//! The keys of a scenario: the one list that reader, messages and manual share.

use std::fmt::Write as _;

use super::kind::{Kind, Value};
use crate::fault::Fault;
use crate::quantity::{
    ACCELERATION, DRIFT, FEED, FINE_LENGTH, FINE_TIME, FORCE, FREQUENCY, JERK, LENGTH, MASS,
    MODULUS, RATIO, SHARE, SPEED, STIFFNESS, TEMPERATURE, TIME,
};

/// Where a key has an effect in this version.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Acts {
    /// In every simulation; a battery in what is said of it.
    Always,
    /// In a log that is drawn; the error of a touch does not hang on it.
    Log,
    /// In a sweep; a log holds edges, not what is made of them.
    Sweep,
    /// Behind the barrier, on the way through the air: in a sweep, and in lines that are drawn.
    Air,
    /// In advice on the feed only.
    Advice,
    /// In a replay only.
    Replay,
    /// Nowhere yet: read and checked only.
    Later,
}

/// One key.
pub(crate) struct Key {
    /// Table and name, `barrier.span`.
    pub full: &'static str,
    pub kind: Kind,
    /// Value when the key is absent; empty: none.
    pub default: &'static str,
    /// Smallest value allowed.
    pub least: &'static str,
    /// Largest value allowed.
    pub most: &'static str,
    pub acts: Acts,
    /// What it means.
    pub about: &'static str,
}

impl Key {
    pub(crate) fn table(&self) -> &'static str {
        self.full
            .split_once('.')
            .map_or(self.full, |(table, _)| table)
    }

    pub(crate) fn name(&self) -> &'static str {
        self.full
            .split_once('.')
            .map_or(self.full, |(_, name)| name)
    }

    /// The value for an absent key.
    pub(crate) fn absent(&self) -> Option<Value> {
        self.kind.read(self.default).ok()
    }

    /// Refuses what lies outside the range.
    pub(crate) fn check(&self, value: Value) -> Result<(), Fault> {
        let si = self.kind.si(value);
        let bound = |text: &str| self.kind.read(text).map_or(f64::NAN, |v| self.kind.si(v));
        // No comparison with a bound that is none holds.
        let nearest = if si < bound(self.least) {
            self.least
        } else if si > bound(self.most) {
            self.most
        } else {
            return Ok(());
        };
        Err(Fault::new(
            match value {
                Value::Whole(_) if matches!(self.kind, Kind::Quantity(_)) => {
                    format!(
                        "a value {} the range",
                        if nearest == self.least {
                            "below"
                        } else {
                            "above"
                        }
                    )
                }
                Value::Whole(count) => count.to_string(),
                Value::Number(number) => number.to_string(),
                Value::Word(word) => word.to_owned(),
            },
            format!("{} to {}", self.least, self.most),
            format!("the nearest value allowed is {nearest}"),
        ))
    }
}

/// The keys for people, table by table: default, range, units or words, meaning.
#[must_use]
pub fn manual() -> String {
    let mut text = String::new();
    let mut table = "";
    for key in &KEYS {
        if key.table() != table {
            table = key.table();
            let _ = writeln!(text, "[{table}]");
        }
        let default = if key.default.is_empty() {
            "none"
        } else {
            key.default
        };
        let _ = write!(text, "  {}: {}.", key.name(), key.about);
        if key.acts == Acts::Later {
            text += " Checked, but does not act in this version.";
        }
        let _ = write!(text, "\n      default {default}");
        if !key.least.is_empty() {
            let _ = write!(text, "; {} to {}", key.least, key.most);
        }
        let _ = writeln!(text, "; {}", key.kind.allowed());
    }
    text
}

const fn key(
    full: &'static str,
    kind: Kind,
    default: &'static str,
    (least, most): (&'static str, &'static str),
    acts: Acts,
    about: &'static str,
) -> Key {
    Key {
        full,
        kind,
        default,
        least,
        most,
        acts,
        about,
    }
}

use Acts::{Advice, Air, Always, Later, Log, Replay, Sweep};
use Kind::{Count, Number, Quantity, Word};

const NO_RANGE: (&str, &str) = ("", "");

/// All keys, table by table.
#[rustfmt::skip] // A line each reads as the table it is.
pub(crate) const KEYS: [Key; 77] = [
    key("approach.feed", Quantity(&FEED), "300mm/min", ("0.001mm/min", "60m/min"), Always, "feed towards the beam at contact"),
    key("approach.retract", Quantity(&FEED), "", ("0.001mm/min", "60m/min"), Log, "feed of the way back; none: that of the approach"),
    key("approach.acceleration", Quantity(&ACCELERATION), "", ("1mm/s2", "100m/s2"), Log, "acceleration of the axis; none: it stops at once"),
    key("approach.jerk", Quantity(&JERK), "", ("1mm/s3", "100000m/s3"), Log, "jerk of the axis; none: its acceleration comes at once"),
    key("approach.depth", Quantity(&LENGTH), "100um", ("1nm", "100mm"), Log, "how far behind the trip point the blade stops, or begins to brake where there is an acceleration"),
    key("approach.length_doubt", Quantity(&LENGTH), "0nm", ("0nm", "100mm"), Log, "half range of the place of contact, spread evenly"),
    key("approach.clearance", Quantity(&LENGTH), "1mm", ("1um", "1m"), Log, "way from the start of an approach to the earliest contact"),
    key("approach.reaction", Quantity(&TIME), "2ms", ("0ns", "1s"), Advice, "from the edge of the output to the begin of braking; never less than delay and jitter of the input"),
    key("barrier.span", Quantity(&LENGTH), "150um", ("1um", "10mm"), Always, "travel of the blade from 99 % to 1 % of the light"),
    key("barrier.profile", Word(&["gaussian", "circular"]), "gaussian", NO_RANGE, Always, "shape of the light: a Gaussian beam, or an evenly lit round aperture whose diameter is the span"),
    key("barrier.snr", Quantity(&RATIO), "60dB", ("20dB", "140dB"), Always, "full light of a clean lens over the noise behind the comparator"),
    key("barrier.bandwidth", Quantity(&FREQUENCY), "100kHz", ("1Hz", "4GHz"), Always, "corner of the noise: of comparator or filter"),
    key("barrier.trip", Quantity(&SHARE), "50%", ("1%", "99%"), Always, "trip level, share of the light of a clean lens"),
    key("barrier.film", Quantity(&SHARE), "0%", ("0%", "99%"), Always, "light lost to a film on the lens; the trip level of a comparator does not follow"),
    key("barrier.hysteresis", Number, "0", ("0", "1000"), Always, "half the hysteresis, in standard deviations of the noise"),
    key("disturbance.glitches_per_s", Number, "0", ("0", "20000"), Always, "spikes of 0.5 to 50 us on the line, mean number a second"),
    key("disturbance.droplets_per_h", Number, "0", ("0", "3600000"), Always, "droplets and chips that shade the beam for 50 us to 5 ms, mean number an hour"),
    key("disturbance.vibration_amplitude", Quantity(&LENGTH), "0nm", ("0nm", "1mm"), Always, "amplitude of the blade's vibration"),
    key("disturbance.vibration_frequency", Quantity(&FREQUENCY), "50Hz", ("1Hz", "1MHz"), Always, "its frequency"),
    key("disturbance.flutter", Count, "0", ("0", "1000"), Always, "most hits before the blade stays, each number from 1 on as likely; 0: it stays at once"),
    key("capture.tick", Quantity(&FREQUENCY), "16MHz", ("15.3kHz", "4GHz"), Always, "rate of the clock that stamps the edges"),
    key("capture.bits", Count, "32", ("8", "64"), Later, "width of its counter; times of a log are already widened"),
    key("sampling.rate", Quantity(&FREQUENCY), "200kHz", ("1kHz", "16MHz"), Always, "samples of the light a second, in place of edges"),
    key("sampling.bits", Count, "12", ("8", "24"), Always, "width of a sample; above 16 in recordings only"),
    key("onset.method", Word(&["hybrid", "balance", "first_edge", "in_a_row", "matched", "area"]), "", NO_RANGE, Sweep, "what is judged; edges: hybrid (the default: what the library reports), balance, first_edge, in_a_row; samples: matched (the default), area"),
    key("onset.hold", Quantity(&TIME), "1ms", ("1ns", "2.147s"), Always, "how long a level must last to count"),
    key("calibration.delay", Quantity(&FINE_TIME), "0ns", ("-1ms", "1ms"), Replay, "delay of filter and comparator, taken off every onset of edges"),
    key("calibration.delay_doubt", Quantity(&FINE_TIME), "0ns", ("0ns", "4.294967295ms"), Replay, "its standard uncertainty"),
    key("calibration.offset", Quantity(&FINE_LENGTH), "0nm", ("0nm", "1mm"), Replay, "half the comparator's hysteresis as travel of the blade"),
    key("calibration.offset_doubt", Quantity(&FINE_LENGTH), "0nm", ("0nm", "4.294967295mm"), Replay, "its standard uncertainty"),
    key("calibration.together", Number, "0", ("-1", "1"), Replay, "correlation of both doubts"),
    key("calibration.chatter", Quantity(&TIME), "0ns", ("0ns", "1s"), Replay, "noise that one edge of chatter stands for, as a time; 0: to be learned"),
    key("calibration.turn", Quantity(&FEED), "60m/min", ("1nm/s", "60m/min"), Replay, "feed about which the offset turns from a constant time into a constant place"),
    key("calibration.turn_found", Word(&["yes", "no"]), "yes", NO_RANGE, Replay, "whether the feeds of the calibration showed that feed; without it, an offset is taken off at a stated [approach] feed only"),
    key("calibration.least_delay", Quantity(&FINE_TIME), "0ns", ("-1ms", "1ms"), Replay, "delay of the constants that fit nearly as well with the slowest turn; what they differ by is doubted"),
    key("calibration.least_delay_doubt", Quantity(&FINE_TIME), "0ns", ("0ns", "4.294967295ms"), Replay, "its standard uncertainty"),
    key("calibration.least_offset", Quantity(&FINE_LENGTH), "0nm", ("0nm", "1mm"), Replay, "their offset"),
    key("calibration.least_offset_doubt", Quantity(&FINE_LENGTH), "0nm", ("0nm", "4.294967295mm"), Replay, "its standard uncertainty"),
    key("calibration.least_together", Number, "0", ("-1", "1"), Replay, "correlation of both doubts"),
    key("calibration.least_turn", Quantity(&FEED), "60m/min", ("1nm/s", "60m/min"), Replay, "the feed where they turn; without it there are no such constants"),
    key("calibration.most_delay", Quantity(&FINE_TIME), "0ns", ("-1ms", "1ms"), Replay, "delay of the constants that fit nearly as well with the fastest turn; what they differ by is doubted"),
    key("calibration.most_delay_doubt", Quantity(&FINE_TIME), "0ns", ("0ns", "4.294967295ms"), Replay, "its standard uncertainty"),
    key("calibration.most_offset", Quantity(&FINE_LENGTH), "0nm", ("0nm", "1mm"), Replay, "their offset"),
    key("calibration.most_offset_doubt", Quantity(&FINE_LENGTH), "0nm", ("0nm", "4.294967295mm"), Replay, "its standard uncertainty"),
    key("calibration.most_together", Number, "0", ("-1", "1"), Replay, "correlation of both doubts"),
    key("calibration.most_turn", Quantity(&FEED), "60m/min", ("1nm/s", "60m/min"), Replay, "the feed where they turn; without it there are no such constants"),
    key("link.medium", Word(&["infrared", "radio", "wired"]), "infrared", NO_RANGE, Air, "how the trigger gets to the board; there is a link where any key of this table is stated, unless it is wired"),
    key("link.slot", Quantity(&TIME), "", ("100us", "100ms"), Air, "time from one slot of the link to the next, in steps of 125 ns; none: 1ms infrared, 2ms radio"),
    key("link.beat", Quantity(&TIME), "", ("100us", "100ms"), Air, "time from one sign of life to the next, in whole slots; none: 5 slots"),
    key("link.loss", Quantity(&SHARE), "0%", ("0%", "99%"), Air, "share of the slots whose frame is lost"),
    key("link.burst", Number, "", ("1", "1000000"), Air, "mean length of a loss, in slots; none: losses without memory, 1/(1 - loss)"),
    key("link.jitter", Quantity(&TIME), "", ("0ns", "1ms"), Air, "jitter of a frame's captured arrival, one standard deviation; none: 200ns infrared, 1us radio; beyond 1us the clock lets READY fall"),
    key("link.delay", Quantity(&TIME), "", ("1ms", "1s"), Air, "D, constant delay from contact to output; none: 48ms infrared, 64ms radio, 5ms wired; losses of 3 slots want 66ms, of 5 slots 101ms"),
    key("link.dead", Quantity(&TIME), "", ("1us", "1s"), Air, "silence after which READY falls; none: delay - 6ms infrared, delay - 4ms radio"),
    key("link.bound", Quantity(&TIME), "4us", ("500ns", "50us"), Air, "U, greatest bound of an edge's time that keeps READY; crystals and stamps to 200ns keep 1us infrared and 2us radio"),
    key("clock.tolerance", Quantity(&SHARE), "60ppm", ("1ppm", "5%"), Air, "how far the clocks of probe and board may run apart; acts beside [link]"),
    key("clock.drift", Quantity(&DRIFT), "0.1ppm/s", ("0ppm/s", "1000ppm/s"), Air, "how fast that may change"),
    key("battery.cells", Count, "2", ("1", "100"), Always, "cells in series"),
    key("battery.chemistry", Word(&["alkaline", "lithium", "lithium_iron", "nimh", "thionyl"]), "alkaline", NO_RANGE, Always, "what the cells are made of; lithium: with manganese dioxide, lithium_iron: with iron disulfide, thionyl: lithium with thionyl chloride"),
    key("battery.temperature", Quantity(&TEMPERATURE), "20C", ("-40C", "85C"), Always, "temperature of the cells"),
    key("battery.run", Quantity(&TIME), "8h", ("1s", "87600h"), Always, "how long a run without change of cells must last"),
    key("control.input_delay", Quantity(&TIME), "0ns", ("0ns", "1s"), Advice, "constant delay of the control's input"),
    key("control.input_jitter", Quantity(&TIME), "0ns", ("0ns", "1s"), Advice, "width of the jitter of that delay"),
    key("control.latch", Word(&["edge", "history", "scan"]), "edge", NO_RANGE, Advice, "how the control takes the position: latched at the edge, looked up in stored positions, or at a cyclic scan"),
    key("control.period", Quantity(&TIME), "1ms", ("1us", "1s"), Advice, "time from one position or scan to the next"),
    key("control.feed_error", Quantity(&SHARE), "0%", ("0%", "50%"), Advice, "half width of the doubt of the feed"),
    key("spindle.speed", Quantity(&SPEED), "3000/min", ("1/min", "1000000/min"), Log, "speed of a turning cutter; it turns where any key of this table is stated"),
    key("spindle.teeth", Count, "4", ("1", "64"), Log, "teeth of the cutter"),
    key("spindle.radius", Quantity(&LENGTH), "5mm", ("1um", "1m"), Log, "radius of the cutter"),
    key("spindle.run_out", Quantity(&LENGTH), "0nm", ("0nm", "10mm"), Log, "width of the range of tooth heights"),
    key("plate.mass", Quantity(&MASS), "10g", ("1mg", "10kg"), Log, "mass that a tooth throws back; it does where any key of this table is stated, beside [spindle]; a slim [tool] has to bear it"),
    key("plate.preload", Quantity(&FORCE), "0.15N", ("1mN", "1000N"), Log, "force that holds it at rest"),
    key("plate.rate", Quantity(&STIFFNESS), "0N/mm", ("0N/mm", "10000N/mm"), Log, "rise of that force with the way"),
    key("plate.restitution", Number, "0.5", ("0", "1"), Log, "speed after a blow over speed before it"),
    key("tool.diameter", Quantity(&LENGTH), "", ("1um", "1m"), Advice, "diameter of the tool; it is slim where diameter and length are stated"),
    key("tool.length", Quantity(&LENGTH), "", ("1um", "1m"), Advice, "free length of the tool"),
    key("tool.modulus", Quantity(&MODULUS), "550GPa", ("1GPa", "1000GPa"), Advice, "modulus of elasticity of the tool"),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_default_and_bound_reads_and_lies_inside() {
        for key in &KEYS {
            assert_eq!(key.full.matches('.').count(), 1);
            if !key.default.is_empty() {
                let value = key.absent().unwrap_or_else(|| panic!("{}", key.full));
                assert!(key.check(value).is_ok(), "{}", key.full);
            }
            if !key.least.is_empty() {
                let (least, most) = (key.kind.read(key.least), key.kind.read(key.most));
                assert!(
                    key.kind.si(least.unwrap()) < key.kind.si(most.unwrap()),
                    "{}",
                    key.full
                );
            }
        }
    }

    #[test]
    fn names_are_unique_and_all_are_in_the_manual() {
        let manual = manual();
        for (k, key) in KEYS.iter().enumerate() {
            assert!(KEYS[..k].iter().all(|other| other.full != key.full));
            let table = manual
                .split(&format!("[{}]\n", key.table()))
                .nth(1)
                .unwrap();
            assert!(
                table.contains(&format!("  {}: ", key.name())),
                "{}",
                key.full
            );
        }
    }
}
