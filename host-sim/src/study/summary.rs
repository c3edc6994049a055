//! What a list of trials amounts to.

use trueonset::flags::Flags;

use super::runner::{Found, Trial};
use super::statistics::{quantile, Moments, Share};

/// Summary of the trials of one station in one cell; lengths in nm.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    /// Touches simulated.
    pub trials: u64,
    /// Touches not reported.
    pub missed: u64,
    /// Touches reported beyond one a trial.
    pub false_touches: u64,
    /// Error of the onset.
    pub error: Moments,
    /// Error of the balance point alone.
    pub balance: Moments,
    /// Error of the first edge.
    pub first: Moments,
    /// Error of 'N in a row'.
    pub run: Moments,
    /// 99.9 % of |error|.
    pub p999: f64,
    /// Root of the mean squared doubt.
    pub doubt_rms: f64,
    /// Median doubt.
    pub doubt_median: f64,
    /// Found touches with |error| within two doubts of the truth.
    pub inside: Share,
    /// The same about the mean error, as a calibrated system has it.
    pub inside_calibrated: Share,
    /// Found touches with the flag `upper`.
    pub upper: Share,
    /// Found touches with the flag `rough`.
    pub rough: Share,
    /// Found touches with the flag `short_hold`.
    pub short: Share,
    /// Found touches whose onset is the causal partner's.
    pub hybrid: Share,
    /// Edges per touch.
    pub edges: Moments,
    /// Mean time from true onset to confirmation, ns.
    pub confirm_ns: Moments,
}

impl Summary {
    /// Sums `trials` up.
    #[must_use]
    pub fn of(trials: &[Trial]) -> Self {
        let found: Vec<&Found> = trials.iter().filter_map(|t| t.found.as_ref()).collect();
        let error: Moments = found.iter().map(|f| f.error_nm).collect();
        let share = |holds: &dyn Fn(&Found) -> bool| Share {
            hits: found.iter().filter(|f| holds(f)).count() as u64,
            trials: found.len() as u64,
        };
        let within = |centre: f64| {
            share(&|f| {
                f.doubt_nm
                    .is_some_and(|doubt| (f.error_nm - centre).abs() <= 2.0 * doubt)
            })
        };
        let mut doubts: Vec<f64> = found.iter().filter_map(|f| f.doubt_nm).collect();
        let mut absolute: Vec<f64> = found.iter().map(|f| f.error_nm.abs()).collect();
        Self {
            trials: trials.len() as u64,
            missed: (trials.len() - found.len()) as u64,
            false_touches: trials.iter().map(|t| u64::from(t.extra)).sum(),
            balance: found.iter().map(|f| f.balance_nm).collect(),
            first: trials.iter().filter_map(|t| t.first_nm).collect(),
            run: trials.iter().filter_map(|t| t.run_nm).collect(),
            p999: quantile(&mut absolute, 0.999).unwrap_or(f64::NAN),
            doubt_rms: doubts
                .iter()
                .map(|d| d * d)
                .collect::<Moments>()
                .mean()
                .sqrt(),
            doubt_median: quantile(&mut doubts, 0.5).unwrap_or(f64::NAN),
            inside: within(0.0),
            inside_calibrated: within(error.mean()),
            upper: share(&|f| f.flags.contains(Flags::UPPER)),
            rough: share(&|f| f.flags.contains(Flags::ROUGH)),
            short: share(&|f| f.flags.contains(Flags::SHORT_HOLD)),
            hybrid: share(&|f| f.flags.contains(Flags::HYBRID)),
            edges: found.iter().map(|f| f64::from(f.edges)).collect(),
            confirm_ns: found.iter().map(|f| f.confirm_ns).collect(),
            error,
        }
    }
}
