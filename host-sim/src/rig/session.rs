//! Asking: a request goes out until its answer has come or patience ends.

use std::io;
use std::time::Duration;

use trueonset_rig::{Answer, BadSettings, Bytes, Collector, Frame, Refusal, Request, VERSION};

use crate::fault::{Fault, Place};

/// How often a request goes out at most: a device that reads nothing must not fill the line until
/// writing blocks, and where none of so many comes through the line is of no use.
const TRIES: u32 = 100;

/// What the line has cost.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counts {
    /// Requests sent once more.
    pub again: u64,
    /// Frames that came damaged.
    pub damaged: u64,
    /// Whole frames that are no answer.
    pub foreign: u64,
    /// Requests of ours that came back.
    pub echoes: u64,
    /// Bytes that came.
    pub bytes: u64,
}

/// A line on which one request at a time is answered.
pub struct Session<'a> {
    port: &'a mut dyn super::Port,
    name: String,
    patience: Duration,
    resend: Duration,
    collector: Collector,
    /// Bytes that came and were not looked at, from the second to the third.
    come: [u8; 512],
    next: usize,
    end: usize,
    counts: Counts,
    /// The device has greeted; what it refuses before is of somebody else's log.
    greeted: bool,
}

impl<'a> Session<'a> {
    /// A session over `port`, called `name` in messages. A request is repeated after `resend` of
    /// silence and given up after `patience` without its answer.
    pub fn new(
        port: &'a mut dyn super::Port,
        name: &str,
        patience: Duration,
        resend: Duration,
    ) -> Self {
        Self {
            port,
            name: name.to_owned(),
            patience,
            resend,
            collector: Collector::new(),
            come: [0; 512],
            next: 0,
            end: 0,
            counts: Counts::default(),
            greeted: false,
        }
    }

    /// What the line has cost so far.
    #[must_use]
    pub fn counts(&self) -> Counts {
        self.counts
    }

    /// Where the device is, for messages.
    #[must_use]
    pub fn place(&self) -> Place {
        Place::Setting(format!("--port {}", self.name))
    }

    /// Starts anew with a device; `run` is any number, another one each time. The release of its
    /// library.
    ///
    /// # Errors
    /// Nobody answers, or in another version.
    pub fn hello(&mut self, run: u32) -> Result<[u8; 3], Fault> {
        let body = Request::Hello {
            version: VERSION,
            run,
        }
        .body();
        let (version, release) = self.ask(&body, "HELLO", |answer| match answer {
            Answer::Hello {
                version,
                run: of,
                release,
            } if *of == run => Some((*version, *release)),
            _ => None,
        })?;
        if version == VERSION {
            self.greeted = true;
            return Ok(release);
        }
        Err(Fault::new(
            format!("version {version} of the protocol on the device"),
            format!("version {VERSION}"),
            "build device and program from the same release",
        )
        .at(self.place()))
    }

    /// Sends `body` until `accept` takes an answer; `what` names it in messages.
    ///
    /// # Errors
    /// Patience has ended, the line is gone, or the device refuses.
    pub fn ask<T>(
        &mut self,
        body: &Bytes,
        what: &str,
        mut accept: impl FnMut(&Answer<'_>) -> Option<T>,
    ) -> Result<T, Fault> {
        let frame = Frame::of(body.all());
        let (start, heard) = (self.port.now(), self.counts);
        let mut sent = self.send(&frame)?;
        let mut tries = 1;
        loop {
            let mut again = false;
            while let Some(byte) = self.come.get(self.next..self.end).and_then(<[u8]>::first) {
                self.next += 1;
                match self.collector.byte(*byte) {
                    None => {}
                    Some(Err(_)) => {
                        self.counts.damaged += 1;
                        again = true;
                    }
                    Some(Ok(body)) => match Answer::parse(body) {
                        None if Request::parse(body).is_some() => self.counts.echoes += 1,
                        None => self.counts.foreign += 1,
                        Some(Answer::Again) => again = true,
                        Some(Answer::Refused { why, item, detail }) => {
                            if self.greeted {
                                return Err(refused(what, why, item, detail).at(self.place()));
                            }
                        }
                        Some(answer) => {
                            if let Some(taken) = accept(&answer) {
                                return Ok(taken);
                            }
                        }
                    },
                }
            }
            let now = self.port.now();
            if now.saturating_sub(start) >= self.patience {
                return Err(self.silent(what, heard).at(self.place()));
            }
            if again || now.saturating_sub(sent) >= self.resend {
                sent = now;
                if tries < TRIES {
                    tries += 1;
                    self.counts.again += 1;
                    sent = self.send(&frame)?;
                }
            }
            let left = (sent + self.resend).min(start + self.patience);
            let read = self.port.read(&mut self.come, left.saturating_sub(now));
            self.end = read.map_err(|why| self.gone(&why))?;
            self.next = 0;
            self.counts.bytes += self.end as u64;
        }
    }

    fn send(&mut self, frame: &Frame) -> Result<Duration, Fault> {
        let written = self.port.write(frame.bytes());
        written.map_err(|why| self.gone(&why))?;
        Ok(self.port.now())
    }

    fn gone(&self, why: &io::Error) -> Fault {
        let found = match why.kind() {
            io::ErrorKind::UnexpectedEof => "the far end has closed the line".to_owned(),
            _ => why.to_string(),
        };
        let remedy = "check cable and supply of the device, then start it anew and repeat";
        Fault::new(found, "a device at the far end", remedy).at(self.place())
    }

    /// No answer came since the counts were as `before`.
    fn silent(&self, what: &str, before: Counts) -> Fault {
        let waited = crate::quantity::show_time_ns(self.patience.as_nanos() as i64);
        let bytes = self.counts.bytes - before.bytes;
        let damaged = self.counts.damaged - before.damaged;
        let foreign = self.counts.foreign - before.foreign;
        let echo = self.counts.echoes > before.echoes;
        let found = if echo {
            format!("nothing but our own bytes for {waited}")
        } else if bytes > 0 {
            format!(
                "{bytes} bytes in {waited} that are no answer, {damaged} frames damaged, {foreign} foreign"
            )
        } else {
            format!("silence for {waited}")
        };
        let remedy = if echo {
            "remove the loop between output and input, or switch the echo of the terminal off"
        } else if self.greeted {
            "the device has stopped or its line is too bad: start it anew and see why, or be more patient: --patience"
        } else if bytes > 0 {
            "check --baud, the cable and that the image `rig` runs there"
        } else {
            "check power, cable and that the image `rig` runs there, or be more patient: --patience"
        };
        Fault::new(found, format!("an answer to {what}"), remedy)
    }
}

fn refused(what: &str, why: Refusal, item: u32, detail: u8) -> Fault {
    match why {
        Refusal::Settings => Fault::new(
            format!("that the device refuses the {}", BadSettings::words(detail)),
            "settings its library takes",
            "build device and program from the same release",
        ),
        Refusal::NotStarted => Fault::new(
            format!("that the device has started anew before {what}"),
            "one that runs to the end of the log",
            "check its supply and watchdog, and repeat",
        ),
        Refusal::OutOfStep => Fault::new(
            format!("that the device stands at row {item} of the log, not at {what}"),
            "both to have taken the same edges",
            "check that no other program uses the line, and repeat",
        ),
        Refusal::Item => Fault::new(
            format!("that the device cannot take {what}"),
            "an edge of a line that has started",
            "build device and program from the same release",
        ),
        Refusal::Unknown => Fault::new(
            format!("that the device does not know requests of kind {detail:#04x}"),
            "one of the same protocol",
            "build device and program from the same release",
        ),
        Refusal::Looped => Fault::new(
            "that the device hears answers, its own or those of another one",
            "one device, which hears this program only",
            "remove the loop between its output and input, switch its receiver off while it sends, or take the other device off the line",
        ),
    }
}
