//! Quantities as people write them, unit included: `200us`, `0.5um`, `300mm/min`, `60dB`, `100kHz`.
//!
//! Reading is exact: the result is a whole number of the smallest unit of its kind (nanoseconds, nanometres,
//! hertz, nm/s, thousandths of a decibel). What is finer than that unit is refused, except for feeds and
//! accelerations, which are rounded half to even, because 1 mm/min is no whole number of nm/s.
//! A bare number is refused with the right form, since its writer and its reader may think of different units.
//!
//! ```
//! use trueonset_sim::quantity;
//! assert_eq!(quantity::time_ns("1.5ms").unwrap(), 1_500_000);
//! assert_eq!(quantity::feed_nm_s("300mm/min").unwrap(), 5_000_000);
//! assert_eq!(quantity::show_time_ns(1_500_000), "1.5ms");
//! assert!(quantity::time_ns("5").unwrap_err().to_string().contains("`200us`"));
//! ```

mod decimal;

pub(crate) use decimal::Decimal;

use crate::fault::{excerpt, Fault};

/// One way to write a kind of quantity: `value * factor * 10^power / divisor` is in the kind's smallest unit.
struct Unit {
    name: &'static str,
    factor: u64,
    power: i32,
    divisor: u64,
}

const fn unit(name: &'static str, factor: u64, power: i32, divisor: u64) -> Unit {
    Unit {
        name,
        factor,
        power,
        divisor,
    }
}

/// A kind of quantity. Units are ordered by size, for printing.
pub(crate) struct Kind {
    name: &'static str,
    example: &'static str,
    finest: &'static str,
    rounds: bool,
    /// Smallest units in one SI unit.
    per_si: f64,
    units: &'static [Unit],
}

pub(crate) const TIME: Kind = Kind {
    name: "a time",
    example: "200us",
    finest: "1ns",
    rounds: false,
    per_si: 1e9,
    units: &[
        unit("ns", 1, 0, 1),
        unit("us", 1, 3, 1),
        unit("µs", 1, 3, 1),
        unit("ms", 1, 6, 1),
        unit("s", 1, 9, 1),
        unit("min", 60, 9, 1),
        unit("h", 3600, 9, 1),
    ],
};

pub(crate) const LENGTH: Kind = Kind {
    name: "a length",
    example: "0.5um",
    finest: "1nm",
    rounds: false,
    per_si: 1e9,
    units: &[
        unit("nm", 1, 0, 1),
        unit("um", 1, 3, 1),
        unit("µm", 1, 3, 1),
        unit("mm", 1, 6, 1),
        unit("m", 1, 9, 1),
    ],
};

/// Times of a calibration, finer than those of a log.
pub(crate) const FINE_TIME: Kind = Kind {
    name: "a time",
    example: "4.2us",
    finest: "1ps",
    rounds: false,
    per_si: 1e12,
    units: &[
        unit("ps", 1, 0, 1),
        unit("ns", 1, 3, 1),
        unit("us", 1, 6, 1),
        unit("µs", 1, 6, 1),
        unit("ms", 1, 9, 1),
    ],
};

/// Lengths of a calibration.
pub(crate) const FINE_LENGTH: Kind = Kind {
    name: "a length",
    example: "0.04um",
    finest: "1pm",
    rounds: false,
    per_si: 1e12,
    units: &[
        unit("pm", 1, 0, 1),
        unit("nm", 1, 3, 1),
        unit("um", 1, 6, 1),
        unit("µm", 1, 6, 1),
        unit("mm", 1, 9, 1),
    ],
};

pub(crate) const FEED: Kind = Kind {
    name: "a feed",
    example: "300mm/min",
    finest: "1nm/s",
    rounds: true,
    per_si: 1e9,
    units: &[
        unit("nm/s", 1, 0, 1),
        unit("um/s", 1, 3, 1),
        unit("mm/min", 1, 6, 60),
        unit("mm/s", 1, 6, 1),
        unit("m/min", 1, 9, 60),
        unit("m/s", 1, 9, 1),
    ],
};

pub(crate) const ACCELERATION: Kind = Kind {
    name: "an acceleration",
    example: "2m/s2",
    finest: "1nm/s2",
    rounds: true,
    per_si: 1e9,
    units: &[
        unit("um/s2", 1, 3, 1),
        unit("mm/s2", 1, 6, 1),
        unit("m/s2", 1, 9, 1),
    ],
};

pub(crate) const FREQUENCY: Kind = Kind {
    name: "a frequency",
    example: "100kHz",
    finest: "1Hz",
    rounds: false,
    per_si: 1.0,
    units: &[
        unit("Hz", 1, 0, 1),
        unit("kHz", 1, 3, 1),
        unit("MHz", 1, 6, 1),
        unit("GHz", 1, 9, 1),
    ],
};

pub(crate) const RATIO: Kind = Kind {
    name: "a ratio in decibel",
    example: "60dB",
    finest: "0.001dB",
    rounds: false,
    per_si: 1e3,
    units: &[unit("dB", 1, 3, 1)],
};

pub(crate) const JERK: Kind = Kind {
    name: "a jerk",
    example: "50m/s3",
    finest: "1nm/s3",
    rounds: true,
    per_si: 1e9,
    units: &[unit("mm/s3", 1, 6, 1), unit("m/s3", 1, 9, 1)],
};

pub(crate) const SHARE: Kind = Kind {
    name: "a share",
    example: "50%",
    finest: "0.001ppm",
    rounds: true,
    per_si: 1e9,
    units: &[unit("ppm", 1, 3, 1), unit("%", 1, 7, 1)],
};

/// How fast the rate of a clock moves.
pub(crate) const DRIFT: Kind = Kind {
    name: "a drift",
    example: "0.1ppm/s",
    finest: "1ppb/s",
    rounds: true,
    per_si: 1e9,
    units: &[unit("ppb/s", 1, 0, 1), unit("ppm/s", 1, 3, 1)],
};

pub(crate) const SPEED: Kind = Kind {
    name: "a speed of rotation",
    example: "3000/min",
    finest: "1/1000000 Hz",
    rounds: true,
    per_si: 1e6,
    units: &[unit("/min", 1, 6, 60), unit("Hz", 1, 6, 1)],
};

pub(crate) const MASS: Kind = Kind {
    name: "a mass",
    example: "10g",
    finest: "0.001mg",
    rounds: false,
    per_si: 1e9,
    units: &[unit("mg", 1, 3, 1), unit("g", 1, 6, 1), unit("kg", 1, 9, 1)],
};

pub(crate) const FORCE: Kind = Kind {
    name: "a force",
    example: "0.5N",
    finest: "0.001mN",
    rounds: false,
    per_si: 1e6,
    units: &[unit("mN", 1, 3, 1), unit("N", 1, 6, 1)],
};

pub(crate) const STIFFNESS: Kind = Kind {
    name: "a spring rate",
    example: "0.2N/mm",
    finest: "0.001N/m",
    rounds: false,
    per_si: 1e3,
    units: &[unit("N/m", 1, 3, 1), unit("N/mm", 1, 6, 1)],
};

pub(crate) const MODULUS: Kind = Kind {
    name: "a modulus of elasticity",
    example: "550GPa",
    finest: "0.001MPa",
    rounds: false,
    per_si: 1e-3,
    units: &[unit("MPa", 1, 3, 1), unit("GPa", 1, 6, 1)],
};

pub(crate) const TEMPERATURE: Kind = Kind {
    name: "a temperature",
    example: "20C",
    finest: "0.001C",
    rounds: false,
    per_si: 1e3,
    units: &[unit("C", 1, 3, 1), unit("\u{b0}C", 1, 3, 1)],
};

/// A time in ns, which may be negative: `ns us ms s min h`.
///
/// # Errors
/// No number, no unit or an unknown one, finer than 1 ns, or beyond ±292 years.
pub fn time_ns(text: &str) -> Result<i64, Fault> {
    TIME.read(text)
}

/// A span of time in ns, not negative: `ns us ms s min h`.
///
/// # Errors
/// As [`time_ns`], and below zero.
pub fn span_ns(text: &str) -> Result<u64, Fault> {
    TIME.read_unsigned(text)
}

/// A length in nm, which may be negative: `nm um mm m`.
///
/// # Errors
/// No number, no unit or an unknown one, finer than 1 nm, or out of range.
pub fn length_nm(text: &str) -> Result<i64, Fault> {
    LENGTH.read(text)
}

/// A feed in nm/s, rounded half to even: `nm/s um/s mm/s m/s mm/min m/min`.
///
/// # Errors
/// No number, no unit or an unknown one, below zero, or out of range.
pub fn feed_nm_s(text: &str) -> Result<u64, Fault> {
    FEED.read_unsigned(text)
}

/// An acceleration in nm/s², rounded half to even: `um/s2 mm/s2 m/s2`.
///
/// # Errors
/// No number, no unit or an unknown one, below zero, or out of range.
pub fn acceleration_nm_s2(text: &str) -> Result<u64, Fault> {
    ACCELERATION.read_unsigned(text)
}

/// A frequency in Hz: `Hz kHz MHz GHz`.
///
/// # Errors
/// No number, no unit or an unknown one, finer than 1 Hz, below zero, or from 2^32 Hz on.
pub fn frequency_hz(text: &str) -> Result<u32, Fault> {
    let hz = FREQUENCY.read_unsigned(text)?;
    u32::try_from(hz).map_err(|_| FREQUENCY.refuse(text, "at most 4294967295 Hz"))
}

/// A ratio in thousandths of a decibel, which may be negative: `dB`.
///
/// # Errors
/// No number, no unit or an unknown one, finer than 0.001 dB, or out of range.
pub fn ratio_mdb(text: &str) -> Result<i64, Fault> {
    RATIO.read(text)
}

/// A time the way [`time_ns`] reads it back, exactly: `1.5ms`.
#[must_use]
pub fn show_time_ns(ns: i64) -> String {
    show(ns, &["ns", "us", "ms", "s"])
}

/// A length the way [`length_nm`] reads it back, exactly: `0.5um` is shown as `500nm`.
#[must_use]
pub fn show_length_nm(nm: i64) -> String {
    show(nm, &["nm", "um", "mm", "m"])
}

/// A frequency the way [`frequency_hz`] reads it back, exactly: `100kHz`.
#[must_use]
pub fn show_frequency_hz(hz: u32) -> String {
    show(i64::from(hz), &["Hz", "kHz", "MHz", "GHz"])
}

/// A feed in mm/min the way [`feed_nm_s`] reads it back, exactly: `300mm/min`.
#[must_use]
pub fn show_feed_nm_s(nm_s: u64) -> String {
    format!("{}mm/min", with_decimals(u128::from(nm_s) * 60, 6))
}

/// The largest unit that leaves at least 1 before the decimal point; each unit is 1000 of the one before.
fn show(value: i64, units: &[&str]) -> String {
    let size = u128::from(value.unsigned_abs());
    let sign = if value < 0 { "-" } else { "" };
    let mut step = 0;
    while step + 1 < units.len() && size >= 1000_u128.pow(step as u32 + 1) {
        step += 1;
    }
    format!("{sign}{}{}", with_decimals(size, 3 * step), units[step])
}

/// `size / 10^decimals` without trailing zeros.
fn with_decimals(size: u128, decimals: usize) -> String {
    let whole = size / 10_u128.pow(decimals as u32);
    let part = format!("{:0decimals$}", size % 10_u128.pow(decimals as u32));
    let part = part.trim_end_matches('0');
    if part.is_empty() {
        whole.to_string()
    } else {
        format!("{whole}.{part}")
    }
}

impl Kind {
    /// How a quantity of this kind is written.
    pub(crate) fn example(&self) -> &'static str {
        self.example
    }

    /// Smallest units in one SI unit (decibel, degree Celsius, the whole of a share).
    pub(crate) fn per_si(&self) -> f64 {
        self.per_si
    }

    /// The names of its units.
    pub(crate) fn units(&self) -> String {
        let names = self.units.iter().map(|unit| unit.name);
        names
            .filter(|name| name.is_ascii())
            .collect::<Vec<_>>()
            .join(" ")
    }

    /// A number with its unit in the smallest units of the kind.
    pub(crate) fn read(&self, text: &str) -> Result<i64, Fault> {
        let text = text.trim();
        let digits = Decimal::prefix_len(text.as_bytes());
        let (number, name) = text.split_at(digits);
        let Some(number) = Decimal::parse(number.as_bytes()).filter(|_| !number.contains(','))
        else {
            return Err(self.refuse(text, "a number with its unit"));
        };
        let name = name.trim_start();
        let Some(unit) = self.units.iter().find(|unit| unit.name == name) else {
            let wanted = if name.is_empty() {
                "a unit behind the number"
            } else {
                "a unit of this kind"
            };
            return Err(self.refuse(text, wanted));
        };
        match number.scaled(unit.factor, unit.power, unit.divisor) {
            None => Err(self.refuse(text, "a value that fits 64 bits")),
            Some((_, false)) if !self.rounds => {
                Err(self.refuse(text, &format!("nothing finer than {}", self.finest)))
            }
            Some((value, _)) => Ok(value),
        }
    }

    fn read_unsigned(&self, text: &str) -> Result<u64, Fault> {
        u64::try_from(self.read(text)?)
            .map_err(|_| self.refuse(text, "a value that is not negative"))
    }

    fn refuse(&self, text: &str, wanted: &str) -> Fault {
        Fault::new(
            excerpt(text.as_bytes()),
            format!("{} as `{}`: {wanted}", self.name, self.example),
            format!("write a number followed by one of {}", self.units()),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn every_form_of_the_manual_is_read() {
        assert_eq!(time_ns("200us").unwrap(), 200_000);
        assert_eq!(time_ns("200 µs").unwrap(), 200_000);
        assert_eq!(time_ns("8h").unwrap(), 28_800_000_000_000);
        assert_eq!(time_ns("-3ms").unwrap(), -3_000_000);
        assert_eq!(time_ns("1e-3s").unwrap(), 1_000_000);
        assert_eq!(time_ns("2min").unwrap(), 120_000_000_000);
        assert_eq!(length_nm("0.5um").unwrap(), 500);
        assert_eq!(length_nm("2mm").unwrap(), 2_000_000);
        assert_eq!(feed_nm_s("1.5m/min").unwrap(), 25_000_000);
        assert_eq!(feed_nm_s("0.1mm/min").unwrap(), 1_667);
        assert_eq!(ratio_mdb("60dB").unwrap(), 60_000);
        assert_eq!(frequency_hz("32.768kHz").unwrap(), 32_768);
        assert_eq!(acceleration_nm_s2("2m/s2").unwrap(), 2_000_000_000);
        assert_eq!(JERK.read("50m/s3").unwrap(), 50_000_000_000);
        assert_eq!(SHARE.read("0.2%").unwrap(), SHARE.read("2000ppm").unwrap());
        assert_eq!(DRIFT.read("0.1ppm/s").unwrap(), 100);
        assert_eq!(SPEED.read("3000/min").unwrap(), SPEED.read("50Hz").unwrap());
        assert_eq!(MASS.read("10g").unwrap(), 10_000_000);
        assert_eq!(FORCE.read("0.5N").unwrap(), 500_000);
        assert_eq!(
            STIFFNESS.read("0.2N/mm").unwrap(),
            STIFFNESS.read("200N/m").unwrap()
        );
        assert_eq!(MODULUS.read("550GPa").unwrap(), 550_000_000);
        assert_eq!(TEMPERATURE.read("-5 \u{b0}C").unwrap(), -5_000);
    }

    #[test]
    fn refusals_show_the_right_form() {
        for text in [
            "",
            "5",
            "us",
            "5 parsecs",
            "1,5ms",
            "0.1ns",
            "1e30h",
            "1.2.3ms",
            "--5ms",
            "ms5",
            "5e",
            "∞ms",
        ] {
            let message = time_ns(text).unwrap_err().to_string();
            assert!(message.contains("`200us`"), "{text}: {message}");
        }
        assert!(span_ns("-1us")
            .unwrap_err()
            .to_string()
            .contains("not negative"));
        assert!(frequency_hz("5GHz")
            .unwrap_err()
            .to_string()
            .contains("4294967295"));
        assert!(length_nm("1s").is_err());
    }

    #[test]
    fn the_whole_range_is_exact() {
        assert_eq!(time_ns("9223372036854775807ns").unwrap(), i64::MAX);
        assert_eq!(time_ns("-9223372036854775808ns").unwrap(), i64::MIN);
        assert!(time_ns("9223372036854775808ns").is_err());
        assert_eq!(show_time_ns(i64::MIN), "-9223372036.854775808s");
    }

    proptest! {
        #[test]
        fn shown_is_read_back(value in any::<i64>(), feed in 0..u64::MAX / 64, hz in any::<u32>()) {
            prop_assert_eq!(time_ns(&show_time_ns(value)).unwrap(), value);
            prop_assert_eq!(length_nm(&show_length_nm(value)).unwrap(), value);
            prop_assert_eq!(frequency_hz(&show_frequency_hz(hz)).unwrap(), hz);
            prop_assert_eq!(feed_nm_s(&show_feed_nm_s(feed)).unwrap(), feed);
        }

        #[test]
        fn any_text_gets_an_answer(text in ".{0,40}") {
            let _ = time_ns(&text);
            let _ = feed_nm_s(&text);
            let _ = ratio_mdb(&text);
        }
    }
}
