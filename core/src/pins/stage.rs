//! Pins of the output stage, written and read back.

use core::convert::Infallible;

use embedded_hal::digital::{ErrorType, InputPin, OutputPin, PinState};

use crate::lines::{Causes, Outputs, OutputsConfig, Pins};
use crate::time::Instant;

/// Stands for STOP where the stage has no such pin.
#[derive(Clone, Copy, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct NoPin;

impl ErrorType for NoPin {
    type Error = Infallible;
}

impl OutputPin for NoPin {
    fn set_low(&mut self) -> Result<(), Infallible> {
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

/// Always low, as [`Pins::stop`] is where nothing drives it.
impl InputPin for NoPin {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(false)
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(true)
    }
}

/// The driven pins; high switches on.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Stage<Ready, Run, Stop> {
    ready: Ready,
    run: Run,
    stop: Stop,
}

impl<Ready: OutputPin, Run: OutputPin, Stop: OutputPin> Stage<Ready, Run, Stop> {
    /// READY, RUN and STOP; [`NoPin`] where the form has no STOP. All are driven low at once,
    /// whatever they were left at before. One that cannot be is told by the first
    /// [`write`](Self::write).
    pub fn new(ready: Ready, run: Run, stop: Stop) -> Self {
        let mut stage = Self { ready, run, stop };
        let _ = stage.write(Pins::default());
        stage
    }

    /// Drives the pins.
    ///
    /// # Errors
    /// [`Causes::READ_BACK`], to be latched, where a pin could not be driven: READY and RUN were
    /// then driven low as far as they let themselves.
    pub fn write(&mut self, pins: Pins) -> Result<(), Causes> {
        // Whatever falls, falls first.
        let stop_first = !pins.run;
        let run = |run: &mut Run| run.set_state(PinState::from(pins.run)).is_ok();
        let mut driven = !stop_first || run(&mut self.run);
        driven &= self.ready.set_state(PinState::from(pins.ready)).is_ok();
        driven &= self.stop.set_state(PinState::from(pins.stop)).is_ok();
        driven = driven && (stop_first || run(&mut self.run));
        if driven {
            return Ok(());
        }
        // What fails again is told already.
        let _ = self.run.set_low();
        let _ = self.ready.set_low();
        Err(Causes::READ_BACK)
    }
}

/// The same wires as inputs, where the board reads its outputs back.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ReadBack<Ready, Run, Stop> {
    ready: Ready,
    run: Run,
    stop: Stop,
}

impl<Ready: InputPin, Run: InputPin, Stop: InputPin> ReadBack<Ready, Run, Stop> {
    /// What shows READY, RUN and STOP; [`NoPin`] where the form has no STOP.
    pub const fn new(ready: Ready, run: Run, stop: Stop) -> Self {
        Self { ready, run, stop }
    }

    /// A cause to latch where a wire cannot be read, or has not shown for too long what it was
    /// told. Call it at `now` before the outputs are set anew.
    #[must_use]
    pub fn check(
        &mut self,
        outputs: &mut Outputs,
        config: &OutputsConfig,
        now: Instant,
    ) -> Option<Causes> {
        match self.read() {
            Ok(seen) => outputs.read_back(config, seen, now),
            Err(cause) => Some(cause),
        }
    }

    /// What the wires show.
    ///
    /// # Errors
    /// [`Causes::READ_BACK`], to be latched, where one cannot be read.
    pub fn read(&mut self) -> Result<Pins, Causes> {
        Ok(Pins {
            ready: self.ready.is_high().map_err(|_| Causes::READ_BACK)?,
            run: self.run.is_high().map_err(|_| Causes::READ_BACK)?,
            stop: self.stop.is_high().map_err(|_| Causes::READ_BACK)?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lines::Form;
    use crate::pins::broken::Broken;
    use crate::time::TickRate;
    use core::cell::Cell;

    /// A wire, and whether it fails when driven high.
    struct Wire<'a>(&'a Cell<bool>, bool);

    impl ErrorType for Wire<'_> {
        type Error = Broken;
    }

    impl OutputPin for Wire<'_> {
        fn set_low(&mut self) -> Result<(), Broken> {
            self.0.set(false);
            Ok(())
        }

        fn set_high(&mut self) -> Result<(), Broken> {
            if self.1 {
                return Err(Broken);
            }
            self.0.set(true);
            Ok(())
        }
    }

    impl InputPin for Wire<'_> {
        fn is_high(&mut self) -> Result<bool, Broken> {
            if self.1 {
                Err(Broken)
            } else {
                Ok(self.0.get())
            }
        }

        fn is_low(&mut self) -> Result<bool, Broken> {
            self.is_high().map(|high| !high)
        }
    }

    const ALL: [bool; 2] = [false, true];

    fn every(mut check: impl FnMut(Pins)) {
        for ready in ALL {
            for run in ALL {
                for stop in ALL {
                    check(Pins { ready, run, stop });
                }
            }
        }
    }

    #[test]
    fn pins_follow_and_are_read_back() {
        every(|pins| {
            let wires = [const { Cell::new(true) }; 3];
            let [ready, run, stop] = &wires;
            let mut stage = Stage::new(Wire(ready, false), Wire(run, false), Wire(stop, false));
            assert_eq!(stage.write(pins), Ok(()));
            let mut back = ReadBack::new(Wire(ready, false), Wire(run, false), Wire(stop, false));
            assert_eq!(back.read(), Ok(pins));
            let mut back = ReadBack::new(Wire(ready, false), Wire(run, true), NoPin);
            assert_eq!(back.read(), Err(Causes::READ_BACK));
            let rate = TickRate::NANOSECONDS;
            let config = OutputsConfig::new(rate, Form::Levels, 1_000).unwrap();
            let now = Instant::from_ticks(5);
            let cause = back.check(&mut Outputs::new(), &config, now);
            assert_eq!(cause, Some(Causes::READ_BACK));
        });
    }

    /// Whichever pin fails: the failure is told, and neither READY nor RUN stays high.
    #[test]
    fn a_pin_that_cannot_be_driven_is_told_and_stops() {
        for broken in 0..3 {
            every(|pins| {
                let wires = [const { Cell::new(true) }; 3];
                let [ready, run, stop] = &wires;
                let wire = |one, number| Wire(one, broken == number);
                let mut stage = Stage::new(wire(ready, 0), wire(run, 1), wire(stop, 2));
                assert!(
                    !wires.iter().any(Cell::get),
                    "stop from the first moment on"
                );
                let high = [pins.ready, pins.run, pins.stop].into_iter().nth(broken);
                if high == Some(true) {
                    assert_eq!(stage.write(pins), Err(Causes::READ_BACK));
                    assert!(!ready.get() && !run.get(), "{pins:?}");
                } else {
                    assert_eq!(stage.write(pins), Ok(()));
                }
            });
        }
    }
}
