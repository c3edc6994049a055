//! What advice is asked about: barrier, way of the touch, control, axis and tool of a scenario, and
//! what each of them does at a feed.

use std::sync::OnceLock;

use super::spread::{Shape, Term};
use super::teeth::Teeth;
use crate::fault::{Fault, Place};
use crate::model::buckling::Bar;
use crate::model::plate::Plate;
use crate::scenario::{slim, Control, Latching, Link, Method, Scenario, Sensing, Tables};
use crate::study::closed_form::{balance_sd, crossing_rate, distribution};
use crate::study::touches::{bound_nm, sampled};

/// A tick of the probe over the air and of a board, s: an onset is told, and an output set, to the nearest.
const PROBE_TICK: f64 = 125e-9;
const BOARD_TICK: f64 = 1.0 / Link::RECEIVER_HZ as f64;
/// Spread over its bound of the onset out of samples: matched, area (grid of the barrier's study).
const OVER_BOUND: [f64; 2] = [1.03, 1.08];
/// Light at which an onset out of samples is settled, share: matched, area.
const DARK: [f64; 2] = [0.025, 0.05];
/// A level that leads on to a touch is met again by noise in one of so many touches.
const CHATTER: f64 = 1e-3;
/// Shortest hold that no spike of 0.5 to 50 us passes, s, and how many mean dwells of the noise it takes.
const LEAST_HOLD: f64 = 100e-6;
const DWELLS: f64 = 10.0;
/// Turns of a cutter after which its hits are a touch.
const TURNS: f64 = 2.0;

/// A probe, a control, an axis and a tool.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Machine {
    /// Barrier, link, axis, cutter, cells.
    pub scenario: Scenario,
    /// The control.
    pub control: Control,
    /// A slim tool.
    pub slim: Option<Bar>,
    /// The plate that it meets.
    pub plate: Plate,
    /// Feed of the way back, m/s, where it is stated.
    pub retract: Option<f64>,
}

impl Machine {
    /// Source of the error that the teeth of a cutter make.
    pub const TEETH: &'static str = "teeth of the cutter";

    /// The machine that `tables` state.
    ///
    /// # Errors
    /// A scenario that cannot be, or a method that the library does not report.
    pub fn of(tables: &Tables) -> Result<Self, Fault> {
        let scenario = Scenario::of(tables)?;
        if matches!(scenario.method, Method::FirstEdge | Method::InARow) {
            return Err(Fault::new(
                "a method for comparison",
                "what the library reports",
                "leave onset.method away; a sweep compares methods",
            )
            .at(Place::Setting(format!("{}: onset.method", tables.source()))));
        }
        Ok(Self {
            control: Control::of(tables, scenario.link.as_ref(), scenario.hold_ns)?,
            scenario,
            slim: slim(tables),
            plate: Plate {
                mass: tables.si("plate.mass"),
                preload: tables.si("plate.preload"),
                rate: tables.si("plate.rate"),
                restitution: tables.si("plate.restitution"),
            },
            retract: tables.number("approach.retract"),
        })
    }

    /// The same at another feed, m/s.
    #[must_use]
    pub fn at(&self, feed: f64) -> Self {
        Self {
            scenario: Scenario {
                feed,
                ..self.scenario
            },
            ..*self
        }
    }

    /// From contact to the begin of braking at the latest by plan, s: first tooth of a cutter, delay, bound of the link,
    /// reaction.
    #[must_use]
    pub fn late(&self) -> f64 {
        let bound_ns = self.scenario.link.map_or(0, |link| link.plan.bound_ns);
        self.tooth() + self.control.late() + f64::from(bound_ns) * 1e-9
    }

    /// From contact to where the position is latched on average, s; 0 where it is looked up.
    #[must_use]
    pub fn behind(&self) -> f64 {
        let delay = self.control.delay + self.control.input_delay;
        match self.control.latching {
            Latching::Edge => delay,
            Latching::History { .. } => 0.0,
            Latching::Scan { period } => delay + 0.5 * period,
        }
    }

    /// Standard deviation of the onset at a feed (m/s), m.
    #[must_use]
    pub fn onset(&self, feed: f64) -> f64 {
        match self.scenario.sensing {
            Sensing::Edges { .. } => {
                let cell = self.scenario.cell(0);
                let sigma = cell.sigma_x();
                let k = sigma * cell.corner / feed;
                sigma * (balance(k) * fewer_edges(cell.hysteresis, k)).min(first_passage(k))
            }
            Sensing::Samples { .. } => {
                let over = OVER_BOUND[usize::from(self.scenario.method == Method::Area)];
                over * bound_nm(&self.at(feed).scenario, 0) * 1e-9
            }
        }
    }

    /// How much farther 99.9 % of the onsets reach than normal ones of that standard deviation: where touches have
    /// about as many edges as decide between the balance point and its causal partner, either is taken. Fitted to
    /// simulated touches of 0.1 to 100 noise cycles and 0 to 0.8 sigma, within 8 %.
    fn reach(&self, feed: f64) -> f64 {
        let cell = self.scenario.cell(0);
        if self.scenario.method != Method::Hybrid {
            return 1.0;
        }
        let cycles = cell.sigma_x() * cell.corner / feed * cycles_left(cell.hysteresis);
        let off = (cycles / 3.0).ln() / 0.35;
        1.0 + 0.4 * (-0.5 * off * off).exp()
    }

    /// What the error of one touch is made of at a feed (m/s).
    #[must_use]
    pub fn terms(&self, feed: f64) -> Vec<Term> {
        let mut terms = vec![Term {
            source: "onset",
            size: self.onset(feed),
            shape: Shape::Normal,
            reach: self.reach(feed),
        }];
        let mut add = |source, size: f64, shape| {
            if size > 0.0 {
                terms.push(Term {
                    source,
                    size,
                    shape,
                    reach: 1.0,
                });
            }
        };
        if let Some(link) = &self.scenario.link {
            let (clock, ticks) = link_times(link);
            add("clock of the link", feed * clock, Shape::Normal);
            add("ticks of the link", feed * ticks, Shape::Flat);
        } else if let Sensing::Edges { tick_hz } = self.scenario.sensing {
            add(
                "ticks of the board",
                0.5 * feed / f64::from(tick_hz),
                Shape::Flat,
            );
        }
        add(
            "jitter of the input",
            0.5 * feed * self.control.input_jitter,
            Shape::Flat,
        );
        if let Latching::Scan { period } = self.control.latching {
            add("phase of the scan", 0.5 * feed * period, Shape::Flat);
        }
        let way = feed * self.behind();
        add(
            "feed over the delay",
            way * self.control.feed_error,
            Shape::Flat,
        );
        if let Some(vibration) = self.scenario.disturbance.vibration {
            add("vibration", vibration.amplitude, Shape::Sine);
        }
        if let Some(cutter) = &self.scenario.cutter {
            let apart = feed * cutter.tooth_period();
            let teeth = Teeth {
                number: cutter.teeth.max(1),
                apart,
                run_out: cutter.run_out,
            };
            if cutter.run_out > 0.0 {
                add(Self::TEETH, teeth.latest(), Shape::Teeth(teeth));
            } else {
                add(Self::TEETH, 0.5 * apart, Shape::Flat);
            }
        }
        terms
    }

    /// How long the first tooth may be late, s: from tooth to tooth where they are alike, else a turn; 0 without a
    /// cutter.
    #[must_use]
    pub fn tooth(&self) -> f64 {
        self.scenario.cutter.map_or(0.0, |cutter| {
            if cutter.run_out > 0.0 {
                1.0 / cutter.speed
            } else {
                cutter.tooth_period()
            }
        })
    }

    /// How long after contact a touch may be told at the latest, s: by then the line must stop.
    #[must_use]
    pub fn told_by(&self) -> f64 {
        match &self.scenario.link {
            // As the rules of the link have it: later, it could be late with READY up.
            Some(link) => {
                let unseen = u64::from(link.plan.dead_ns) + 2 * u64::from(link.plan.bound_ns);
                (f64::from(link.plan.delay_ns) - unseen as f64) * 1e-9
            }
            None => self.control.delay,
        }
    }

    /// How long after contact a touch at a feed (m/s) is told, s, in all but one of a thousand.
    ///
    /// Of edges: the noise ends when Rice's crossings beyond `τ` noise widths, `f0·σt·√(2π)·Q(τ)`, are as rare, and
    /// the hold follows. Of samples: the light is dark, and the hold follows. Of a cutter: two turns.
    #[must_use]
    pub fn told(&self, feed: f64) -> f64 {
        let cell = self.scenario.cell(0);
        let settled = match self.scenario.sensing {
            Sensing::Edges { .. } => {
                let width = cell.sigma_x() / feed;
                let many =
                    crossing_rate(cell.order) * cell.corner * width * core::f64::consts::TAU.sqrt();
                width * beyond(CHATTER / many)
            }
            Sensing::Samples { .. } => {
                let light = cell.light();
                let dark = DARK[usize::from(self.scenario.method == Method::Area)];
                (light.profile.edge_at(dark) - light.profile.edge_at(cell.trip)).abs() / feed
            }
        };
        let turns = self
            .scenario
            .cutter
            .map_or(0.0, |cutter| TURNS / cutter.speed);
        settled + self.hold() + turns
    }

    /// The hold, s.
    #[must_use]
    pub fn hold(&self) -> f64 {
        self.scenario.hold_ns as f64 * 1e-9
    }

    /// Shortest hold that noise and spikes do not pass, s: ten mean dwells of the noise, which hysteresis makes longer.
    #[must_use]
    pub fn least_hold(&self) -> f64 {
        let cell = self.scenario.cell(0);
        match self.scenario.sensing {
            Sensing::Edges { .. } => {
                let left = cycles_left(cell.hysteresis);
                let dwell = 0.5 / (crossing_rate(cell.order) * cell.corner * left);
                LEAST_HOLD.max(DWELLS * dwell)
            }
            Sensing::Samples { .. } => LEAST_HOLD,
        }
    }

    /// The cell of the barrier's study, where light is sampled.
    #[must_use]
    pub fn is_sampled(&self) -> bool {
        sampled(&self.scenario, 0).is_some()
    }
}

/// Standard deviation and half width of the times that a link adds to an onset, s: the clock's place out of beats that
/// scatter by a jitter and a tick, with the memory that it has (`σ·√(1.25·dt/τ)`) and the lag that drift leaves in it
/// (`a·τ²`); ticks of probe and board.
fn link_times(link: &Link) -> (f64, f64) {
    let beat = f64::from(link.plan.slot_ns) * f64::from(link.plan.beat_slots) * 1e-9;
    let memory = f64::from(link.oscillator.memory_ms) * 1e-3;
    let jitter = link.timing.jitter_ns * 1e-9;
    let scatter = (jitter * jitter + BOARD_TICK * BOARD_TICK / 12.0) * 1.25 * beat / memory;
    let lag = f64::from(link.oscillator.drift_ppb_s) * 1e-9 * memory * memory;
    ((scatter + lag * lag).sqrt(), 0.5 * PROBE_TICK + BOARD_TICK)
}

/// Standard deviations beyond which a share of a normal distribution lies; 0 from a half on.
fn beyond(share: f64) -> f64 {
    let (mut low, mut high) = (0.0, 40.0);
    if share >= 0.5 {
        return 0.0;
    }
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if distribution(-middle) > share {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

/// Share of the cycles of noise that hysteresis (half of it, in noise sigmas) leaves: fitted to 0.63, 0.36 and 0.067 at
/// 0.5, 1 and 2 sigma, simulated.
fn cycles_left(h: f64) -> f64 {
    let h = h.min(4.0);
    (-0.85 * h - 0.25 * h * h).exp()
}

/// How much more the balance point scatters where hysteresis (half of it, in noise sigmas) takes edges from the chatter
/// of `k` noise cycles. Fitted to simulated touches: within 5 % up to one sigma and 15 % beyond.
fn fewer_edges(h: f64, k: f64) -> f64 {
    let over = (h - 1.0).max(0.0);
    let most = (0.47 * h + 0.28 * over * over).min(50.0).exp();
    let filled = k * k.sqrt();
    1.0 + (most - 1.0) * filled / (filled + 0.45)
}

/// Spread, in noise widths, of the only edge that a wide hysteresis leaves; fitted as above.
fn first_passage(k: f64) -> f64 {
    (1.0 + k).powf(-0.25)
}

/// Places of the table of [`balance`], and the logarithms of its ends.
const PLACES: usize = 48;
const ENDS: (f64, f64) = (-7.0, 12.0);
/// Order of the noise of every scenario.
const ORDER: u32 = 4;

/// Standard deviation of the balance point in noise widths by noise cycles in a width: the closed form, out of a table.
fn balance(k: f64) -> f64 {
    static TABLE: OnceLock<Vec<f64>> = OnceLock::new();
    let (from, to) = ENDS;
    let step = (to - from) / (PLACES - 1) as f64;
    let table = TABLE.get_or_init(|| {
        let at = |place: usize| balance_sd(ORDER, (from + step * place as f64).exp()).ln();
        (0..PLACES).map(at).collect()
    });
    let place = (k.ln() - from) / step;
    if place <= 0.0 {
        return 1.0;
    }
    let low = (place as usize).min(PLACES - 2);
    // Beyond the table it goes on with the root of the number of cycles, straight in logarithms.
    (table[low] + (place - low as f64) * (table[low + 1] - table[low])).exp()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::approach::mm_per_min;

    pub(crate) fn of(text: &str) -> Machine {
        Machine::of(&Tables::parse(text, "s.toml").unwrap()).unwrap()
    }

    #[test]
    fn the_table_is_the_closed_form() {
        for k in [1e-4, 0.01, 0.3, 1.0, 2.7, 16.0, 300.0, 5e3, 4e5] {
            let exact = if k < 1e-3 { 1.0 } else { balance_sd(ORDER, k) };
            assert!((balance(k) / exact - 1.0).abs() < 5e-3, "{k}");
        }
    }

    #[test]
    fn hysteresis_scatters_as_simulated() {
        for (h, feed, within) in [
            (0.0, 300, 0.07),
            (0.5, 828, 0.07),
            (1.0, 300, 0.07),
            (2.0, 300, 0.25),
        ] {
            let machine = of(&format!(
                "[approach]\nfeed = \"{feed}mm/min\"\n[barrier]\nhysteresis = {h}\n"
            ));
            let trials = crate::study::touches::touches(&machine.scenario, 1, 2000, &|_| true);
            let trials = trials.unwrap().unwrap();
            let errors = trials
                .iter()
                .filter_map(|trial| Some(trial.found?.error_nm));
            let seen: crate::study::statistics::Moments = errors.collect();
            let told = machine.onset(machine.scenario.feed) * 1e9;
            // Standard error of a standard deviation from 2000 touches: 1.6 %.
            assert!(
                (told / seen.sd() - 1.0).abs() < within,
                "{h}: {told} {}",
                seen.sd()
            );
        }
    }

    /// 99.9 % of the times until a touch is told, ms, simulated by the project's own study.
    #[test]
    fn a_touch_is_told_no_earlier_than_it_was_simulated() {
        for (snr, feed, most, hold) in [
            (60, 10.0, 3.0, "1ms"),
            (60, 1.0, 17.0, "1ms"),
            (40, 60.0, 4.3, "1ms"),
            (40, 10.0, 17.0, "1ms"),
            (40, 300.0, 0.8, "200us"),
        ] {
            let machine = of(&format!(
                "[barrier]\nsnr = \"{snr}dB\"\n[onset]\nhold = \"{hold}\"\n"
            ));
            let told = machine.told(mm_per_min(feed)) * 1e3;
            assert!(
                told > 0.95 * most && told < 1.7 * most,
                "{snr} {feed}: {told}"
            );
        }
    }

    #[test]
    fn a_cutter_with_run_out_is_late_by_a_turn() {
        let teeth = |text: &str| of(&format!("[spindle]\nspeed = \"3000/min\"\n{text}")).tooth();
        assert!((teeth("") - 0.005).abs() < 1e-9);
        assert!((teeth("run_out = \"5um\"\n") - 0.02).abs() < 1e-9);
    }
}
