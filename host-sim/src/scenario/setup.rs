//! A scenario checked as a whole: values in SI units, and whether they go together.
//!
//! Each key has passed its own range before; here the question is whether the barrier can work and whether the
//! model holds. A request for the impossible is refused with the reason and the nearest value that makes sense.

use super::kind::Value;
use super::link::Link;
use super::stages;
use super::tables::Tables;
use crate::fault::{Fault, Place};
use crate::model::course::Disturbance;
use crate::model::cutter::Cutter;
use crate::model::light::sigma_of_snr;
use crate::model::plate::Plate;
use crate::model::ramp::{Limits, Ramp};
use crate::model::stretches::MARGIN;
use crate::study::packs::Case;
use crate::study::runner::{Beam, Cell};

/// Samples or ticks that must fall into the span at least, or the ramp is not seen.
const LEAST_IN_SPAN: f64 = 8.0;
/// Spikes that may fall into one touch at most: they are kept in memory.
const MOST_SPIKES: f64 = 1e6;
/// Noise cycles a touch may last at most: some seconds of computing.
const MOST_CYCLES: f64 = 1e7;
/// How many times faster than the ramp the comparator must be: it has no lag in the model.
const LEAST_BANDWIDTH: f64 = 2.0;
/// [`Scenario::fastest_seen`] itself is seen, however its quotients were rounded.
const ROUNDED: f64 = 1.0 - 1e-12;

/// A light barrier, an approach, and how the light is seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scenario {
    /// Feed at contact, m/s.
    pub feed: f64,
    /// Feed of the way back, m/s.
    pub retract: f64,
    /// How far behind the trip point the blade stops, m.
    pub depth: f64,
    /// Half range of the place of contact, m.
    pub length_doubt: f64,
    /// Way from the start of an approach to the earliest contact, m.
    pub clearance: f64,
    /// Travel from 99 % to 1 % of the light, m.
    pub span: f64,
    /// Full light of a clean lens over the noise, dB.
    pub snr: f64,
    /// Corner of the noise, Hz.
    pub bandwidth_hz: u32,
    /// Trip level, share of the light of a clean lens.
    pub trip: f64,
    /// Shape of the light.
    pub beam: Beam,
    /// Half the hysteresis in standard deviations of the noise.
    pub hysteresis: f64,
    /// Spikes per second.
    pub glitches_per_s: f64,
    /// What else disturbs.
    pub disturbance: Disturbance,
    /// A turning cutter.
    pub cutter: Option<Cutter>,
    /// The plate that it throws.
    pub plate: Option<Plate>,
    /// What the drive can do.
    pub limits: Limits,
    /// What comes out of the barrier.
    pub sensing: Sensing,
    /// What is judged.
    pub method: Method,
    /// How long a level must last to count, ns.
    pub hold_ns: u64,
    /// The way to the board through the air; none where there is a wire.
    pub link: Option<Link>,
    /// The cells of a wireless probe.
    pub battery: Option<Case>,
}

/// What comes out of the barrier.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sensing {
    /// Edges of a comparator.
    Edges {
        /// Rate of the capture clock, Hz.
        tick_hz: u32,
    },
    /// Samples of the light.
    Samples {
        /// Samples a second.
        rate_hz: u32,
        /// Width of a sample.
        bits: u32,
    },
}

/// How an onset is found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// What the library reports for edges: the balance point, its causal partner where spikes demand it.
    Hybrid,
    /// The balance point alone.
    Balance,
    /// The first edge.
    FirstEdge,
    /// The begin of the first unbroken run of a hold.
    InARow,
    /// Matched soft clip of samples.
    Matched,
    /// Clipped area of samples.
    Area,
}

/// Band in which `barrier.snr` is meant where the light is sampled, Hz.
const SAMPLED_BAND_HZ: f64 = 100e3;
/// The key of the spikes.
pub(super) const SPIKES: &str = "disturbance.glitches_per_s";

impl Scenario {
    /// The scenario that `tables` state.
    ///
    /// # Errors
    /// It asks for what no barrier can do or the model does not hold for.
    pub fn of(tables: &Tables) -> Result<Self, Fault> {
        let hz = |key: &str| tables.si(key) as u32;
        let sensing = match (tables.has("sampling"), tables.has("capture")) {
            (true, true) => {
                return Err(Fault::new(
                    "[sampling] beside [capture]",
                    "samples or edges",
                    "remove one of the two tables",
                )
                .at(Place::File(tables.source().to_owned())))
            }
            (true, false) if tables.si("sampling.bits") > 16.0 => {
                return Err(Fault::new(
                    format!("{} bits", tables.si("sampling.bits")),
                    "a simulated converter of 8 to 16 bits; 17 to 24 are for recordings",
                    "state 16",
                )
                .at(Place::Setting(format!(
                    "{}: sampling.bits",
                    tables.source()
                ))))
            }
            (true, false) => Sensing::Samples {
                rate_hz: hz("sampling.rate"),
                bits: hz("sampling.bits"),
            },
            (false, _) => Sensing::Edges {
                tick_hz: hz("capture.tick"),
            },
        };
        let hold_ns = (tables.si("onset.hold") * 1e9).round() as u64;
        let scenario = Self {
            feed: tables.si("approach.feed"),
            retract: tables
                .number("approach.retract")
                .unwrap_or(tables.si("approach.feed")),
            depth: tables.si("approach.depth"),
            length_doubt: tables.si("approach.length_doubt"),
            clearance: tables.si("approach.clearance"),
            span: tables.si("barrier.span"),
            snr: tables.si("barrier.snr"),
            bandwidth_hz: hz("barrier.bandwidth"),
            trip: tables.si("barrier.trip"),
            beam: match tables.stated("barrier.profile") {
                Some(Value::Word("circular")) => Beam::Circle,
                _ => Beam::Gaussian,
            },
            hysteresis: tables.si("barrier.hysteresis"),
            glitches_per_s: tables.si(SPIKES),
            disturbance: stages::disturbance(tables),
            cutter: stages::cutter(tables),
            plate: stages::plate(tables),
            limits: stages::limits(tables),
            sensing,
            method: method(tables, sensing)?,
            hold_ns,
            link: Link::of(tables, hold_ns)?,
            battery: Case::in_scenario(tables)?,
        };
        scenario
            .light()
            .and_then(|()| scenario.ramp())
            .and_then(|()| scenario.start())
            .map_err(|(key, why)| why.at(Place::Setting(format!("{}: {key}", tables.source()))))?;
        Ok(scenario)
    }

    /// The cell of the study that simulates it; `series` tells its random numbers from those of another seed.
    #[must_use]
    pub fn cell(&self, series: u64) -> Cell {
        let (tick_hz, corner) = match self.sensing {
            Sensing::Edges { tick_hz } => (tick_hz, f64::from(self.bandwidth_hz)),
            Sensing::Samples { .. } => (1_000_000_000, SAMPLED_BAND_HZ),
        };
        Cell {
            span: self.span,
            corner,
            hysteresis: self.hysteresis,
            glitches: self.glitches_per_s,
            tick_hz,
            trip: self.trip,
            beam: self.beam,
            disturbance: self.disturbance,
            series,
            ..Cell::new(self.feed * 60_000.0, self.snr)
        }
    }

    /// The fastest feed that clock, converter and comparator see, m/s.
    #[must_use]
    pub fn fastest_seen(&self) -> f64 {
        match self.sensing {
            Sensing::Edges { tick_hz } => {
                let comparator = f64::from(self.bandwidth_hz) / LEAST_BANDWIDTH;
                self.span * comparator.min(f64::from(tick_hz) / LEAST_IN_SPAN)
            }
            Sensing::Samples { rate_hz, .. } => self.span * f64::from(rate_hz) / LEAST_IN_SPAN,
        }
    }

    /// The same at another feed (m/s), if the model holds there and the start is far enough for it.
    ///
    /// # Errors
    /// Which key is against it, and why.
    pub fn at_feed(&self, feed: f64) -> Result<Self, Fault> {
        let other = Self { feed, ..*self };
        let fits = other.ramp().and_then(|()| other.start());
        fits.map_err(|(key, why)| why.at(Place::Setting(key.to_owned())))?;
        Ok(other)
    }

    /// Light on either side of the trip level: room for hysteresis and noise.
    fn light(&self) -> Result<(), (&'static str, Fault)> {
        let sigma = sigma_of_snr(self.snr);
        let film = self.disturbance.film.map_or(0.0, |film| film.loss);
        let rest = 1.0 - film;
        let percent = |share: f64| format!("{}%", (share * 1e5).round() / 1e3);
        if rest <= self.trip {
            let nearest = 0.9 * (1.0 - self.trip);
            return Err((
                "barrier.film",
                Fault::new(
                    format!(
                        "{} of film, which leaves less light than the trip level of {}: the barrier stands at \
                         blocked for good",
                        percent(film),
                        percent(self.trip)
                    ),
                    format!("less than {}", percent(1.0 - self.trip)),
                    format!("at most {} makes sense, or lower barrier.trip", percent(nearest)),
                ),
            ));
        }
        let room = (rest - self.trip).min(self.trip);
        let most = room / sigma;
        if self.hysteresis >= most {
            // Steps of a tenth of a sigma, noise left room for as well.
            let nearest = ((most - MARGIN) * 10.0).floor() / 10.0;
            let remedy = if nearest >= 0.0 {
                format!("at most {nearest} makes sense")
            } else {
                "raise barrier.snr".to_owned()
            };
            return Err((
                "barrier.hysteresis",
                Fault::new(
                    format!(
                        "{} sigma at {} dB, more than the light itself: the output never switches back",
                        self.hysteresis, self.snr
                    ),
                    format!("less than {most:.1}"),
                    remedy,
                ),
            ));
        }
        let needed = 20.0 * ((MARGIN + self.hysteresis) / room).log10();
        if self.snr < needed {
            let nearest = (needed * 10.0).ceil() / 10.0;
            return Err((
                "barrier.snr",
                Fault::new(
                    format!(
                        "{} dB, at which noise alone trips the barrier: {:.1} sigma from light or dark to the \
                         threshold",
                        self.snr,
                        most - self.hysteresis
                    ),
                    format!("{MARGIN} sigma or more"),
                    format!("at least {nearest}dB makes sense"),
                ),
            ));
        }
        Ok(())
    }

    /// Feed against clock, bandwidth and the time a simulation may take.
    fn ramp(&self) -> Result<(), (&'static str, Fault)> {
        let crossing = self.span / self.feed;
        let (key, rate) = match self.sensing {
            Sensing::Edges { tick_hz } => ("capture.tick", f64::from(tick_hz)),
            Sensing::Samples { rate_hz, .. } => ("sampling.rate", f64::from(rate_hz)),
        };
        let slow = |rate: f64, least: f64, of: &str| {
            let nearest = (least / crossing).ceil();
            Fault::new(
                format!(
                    "{rate} Hz, {:.2} {of} while the blade crosses the span of {} um in {:.4} ms",
                    rate * crossing,
                    self.span * 1e6,
                    crossing * 1e3
                ),
                format!("{least} or more"),
                format!("at least {nearest}Hz makes sense, or a slower approach.feed"),
            )
        };
        if rate * crossing < LEAST_IN_SPAN * ROUNDED {
            return Err((key, slow(rate, LEAST_IN_SPAN, "steps")));
        }
        let bandwidth = f64::from(self.bandwidth_hz);
        let edges = matches!(self.sensing, Sensing::Edges { .. });
        if edges && bandwidth * crossing < LEAST_BANDWIDTH * ROUNDED {
            return Err((
                "barrier.bandwidth",
                slow(bandwidth, LEAST_BANDWIDTH, "periods"),
            ));
        }
        let cycles = self.cell(0).k() * 2.0 * (MARGIN + self.hysteresis)
            + self.disturbance.vibration.map_or(0.0, |vibration| {
                2.0 * vibration.amplitude / self.feed * bandwidth
            });
        if cycles > MOST_CYCLES {
            let nearest = (self.feed * cycles / MOST_CYCLES * 6e7).ceil() / 1e3;
            return Err((
                "approach.feed",
                Fault::new(
                    format!(
                        "{} mm/min, at which the chatter of one touch has {cycles:.1e} cycles of noise",
                        (self.feed * 6e7).round() / 1e3
                    ),
                    format!("at most {MOST_CYCLES:.0e}"),
                    format!("at least {nearest}mm/min makes sense"),
                ),
            ));
        }
        self.spikes(cycles / bandwidth + 12.0 * self.hold_ns as f64 * 1e-9)
            .map_err(|why| (SPIKES, why))
    }

    /// Whether the feed is reached between start and light.
    fn start(&self) -> Result<(), (&'static str, Fault)> {
        let light = 0.5 * self.span;
        let way = self.clearance - light;
        let needed = Ramp::new(self.feed, &self.limits).travel();
        if way >= needed && way >= 0.0 {
            return Ok(());
        }
        let um = |way: f64| (way * 1e6).ceil();
        Err((
            "approach.clearance",
            Fault::new(
                format!(
                    "{} um: less than half the span and the {} um until the feed is reached",
                    um(self.clearance),
                    um(needed)
                ),
                "a start before the light",
                format!("at least {}um makes sense", um(needed + light)),
            ),
        ))
    }

    /// Refuses more spikes than memory holds in a touch that is watched for `watched` seconds.
    pub(super) fn spikes(&self, watched: f64) -> Result<(), Fault> {
        if self.glitches_per_s * watched <= MOST_SPIKES {
            return Ok(());
        }
        let nearest = MOST_SPIKES / watched;
        let nearest = if nearest >= 1.0 {
            nearest.floor()
        } else {
            (nearest * 1e9).floor() / 1e9
        };
        Err(Fault::new(
            format!(
                "{} spikes a second over a touch that lasts {watched:.3} s",
                self.glitches_per_s
            ),
            format!("at most {MOST_SPIKES} in one touch"),
            format!("at most {nearest} makes sense, or a faster approach.feed"),
        ))
    }
}

fn method(tables: &Tables, sensing: Sensing) -> Result<Method, Fault> {
    let samples = matches!(sensing, Sensing::Samples { .. });
    let Some(Value::Word(word)) = tables.stated("onset.method") else {
        return Ok(if samples {
            Method::Matched
        } else {
            Method::Hybrid
        });
    };
    let (method, of_samples) = match word {
        "balance" => (Method::Balance, false),
        "first_edge" => (Method::FirstEdge, false),
        "in_a_row" => (Method::InARow, false),
        "matched" => (Method::Matched, true),
        "area" => (Method::Area, true),
        _ => (Method::Hybrid, false),
    };
    if of_samples == samples {
        return Ok(method);
    }
    let (there, words) = if samples {
        ("samples", "matched or area")
    } else {
        ("edges", "hybrid, balance, first_edge or in_a_row")
    };
    Err(Fault::new(
        format!("the method {word} where there are {there}"),
        words,
        "change the method, or state [sampling] for samples and [capture] for edges",
    )
    .at(Place::Setting(format!("{}: onset.method", tables.source()))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn of(text: &str) -> Result<Scenario, Fault> {
        Scenario::of(&Tables::parse(text, "s.toml")?)
    }

    fn refusal(text: &str) -> String {
        of(text).unwrap_err().to_string()
    }

    /// The value behind `at least`/`at most` in a refusal.
    fn nearest(message: &str) -> String {
        let tail = message.split(" makes sense").next().unwrap();
        tail.rsplit(' ').next().unwrap().to_owned()
    }

    #[test]
    fn the_defaults_are_those_of_the_study() {
        let scenario = of("").unwrap();
        assert_eq!(scenario.cell(0), Cell::new(300.0, 60.0));
        assert_eq!(scenario.hold_ns, 1_000_000);
        assert_eq!(scenario.method, Method::Hybrid);
    }

    #[test]
    fn the_impossible_is_refused_with_a_value_that_is_taken() {
        for (text, key, quoted) in [
            ("[barrier]\nfilm = \"VALUE\"\n", "60%", true),
            ("[barrier]\nhysteresis = VALUE\n", "600", false),
            ("[barrier]\nsnr = \"VALUE\"\n", "21dB", true),
            ("[sampling]\nrate = \"VALUE\"\n", "200Hz", true),
            ("[capture]\n[barrier]\nbandwidth = \"1MHz\"\nspan = \"5um\"\n[approach]\nfeed = \"60m/min\"\n[capture2]\ntick = \"VALUE\"\n", "1MHz", true),
            ("[approach]\nfeed = \"60m/min\"\n[barrier]\nbandwidth = \"VALUE\"\n", "1kHz", true),
            ("[approach]\nacceleration = \"0.5m/s2\"\nfeed = \"3000mm/min\"\nclearance = \"VALUE\"\n", "1mm", true),
            ("[barrier]\nsnr = \"40dB\"\n[approach]\nfeed = \"0.01mm/min\"\n[disturbance]\nglitches_per_s = VALUE\n", "20000", false),
            ("[barrier]\nsnr = \"40dB\"\n[approach]\nfeed = \"VALUE\"\n", "0.002mm/min", true),
        ] {
            let text = text.replace("[capture]\n", "").replace("capture2", "capture");
            let why = refusal(&text.replace("VALUE", key));
            let better = nearest(&why);
            assert!(quoted || better.parse::<f64>().is_ok(), "{why}");
            let taken = of(&text.replace("VALUE", &better));
            assert!(taken.is_ok(), "{why}: {taken:?}");
        }
    }

    #[test]
    fn samples_and_edges_exclude_each_other() {
        assert!(
            refusal("[sampling]\nrate = \"1MHz\"\n[capture]\ntick = \"16MHz\"\n")
                .contains("remove one")
        );
        assert!(refusal("[onset]\nmethod = \"area\"\n").contains("[sampling]"));
        assert!(
            refusal("[sampling]\nbits = 12\n[onset]\nmethod = \"balance\"\n")
                .contains("matched or area")
        );
        assert_eq!(
            of("[sampling]\nbits = 12\n").unwrap().method,
            Method::Matched
        );
    }

    proptest! {
        #[test]
        fn no_scenario_panics(feed in 0.001..60_000.0_f64, span in 1_u32..10_000, snr in 20_u32..140,
            trip in 1_u32..99, film in 0_u32..99, h in 0.0..1000.0_f64, band in 1_u32..4_000_000_000) {
            let text = format!("[approach]\nfeed = \"{feed:.3}mm/min\"\n[barrier]\nspan = \"{span}um\"\n\
                snr = \"{snr}dB\"\ntrip = \"{trip}%\"\nfilm = \"{film}%\"\nhysteresis = {h}\nbandwidth = \"{band}Hz\"\n");
            if let Err(why) = of(&text) {
                prop_assert!(why.to_string().contains("makes sense") || why.to_string().contains("raise"), "{}", why);
            }
        }
    }
}
