//! Settings that are checked while compiling.

/// A setting that the compiler checks: one that does not hold does not compile.
///
/// Its argument is a `Result` of constants, such as every configuration here gives.
///
/// ```
/// use trueonset::{checked, onset::Config, time::TickRate};
///
/// const RATE: TickRate = checked!(TickRate::from_hz(16_000_000));
/// const LINE: Config = checked!(Config::new(RATE, 1_000_000));
/// # let _ = LINE;
/// ```
///
/// ```compile_fail
/// use trueonset::{checked, time::TickRate};
///
/// const NO_TICKS: TickRate = checked!(TickRate::from_hz(0));
/// # let _ = NO_TICKS;
/// ```
#[macro_export]
macro_rules! checked {
    ($setting:expr) => {
        const {
            match $setting {
                Ok(made) => made,
                Err(_) => panic!("{}", concat!("refused: ", stringify!($setting))),
            }
        }
    };
}
