//! A board in the emulator, spoken to over its UART; see `examples/firmware/src/machine`.

use std::fmt;
use std::fs::File;
use std::io::{ErrorKind, Read, Write};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use trueonset::edge::Level;
use trueonset::pins::Captured;

use crate::side::{Answer, Frame, Inputs, Side, Told, Trouble, CONVERTED};

/// Longest wait for a board, which answers in microseconds.
const PATIENCE: Duration = Duration::from_secs(20);

/// A machine that the emulator knows, and the target of its images.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Machine {
    name: &'static str,
    target: &'static str,
}

impl Machine {
    /// A Cortex-M0.
    pub(crate) const M0: Self = Self {
        name: "microbit",
        target: "thumbv6m-none-eabi",
    };
    /// A Cortex-M3.
    pub(crate) const M3: Self = Self {
        name: "lm3s6965evb",
        target: "thumbv7m-none-eabi",
    };
    /// A Cortex-M4 with a floating-point unit.
    pub(crate) const M4F: Self = Self {
        name: "mps2-an386",
        target: "thumbv7em-none-eabihf",
    };
    /// A RISC-V of 32 bits.
    pub(crate) const RV32: Self = Self {
        name: "virt",
        target: "riscv32imac-unknown-none-elf",
    };

    /// Switches an interrupt on that no image handles, and raises it: its number, and what to write
    /// to which register. The addresses are those of the vendors' reference manuals.
    fn foreign(self) -> (u8, &'static [(u32, u32)]) {
        if self.name == Self::RV32.name {
            // The clock of the day: priority, enabled beside the port, and an alarm in the past.
            let clock = &[
                (0x0C00_002C, 1),
                (0x0C00_2000, 1 << 11 | 1 << 10),
                (0x0010_1010, 1),
                (0x0010_100C, 0),
                (0x0010_1008, 1),
            ];
            (11, clock)
        } else {
            (31, &[(0xE000_E100, 1 << 31), (0xE000_E200, 1 << 31)])
        }
    }

    /// The image of that name, below the folder of all.
    fn image(self, images: &Path, name: &str) -> PathBuf {
        images.join(self.target).join("small").join(name)
    }

    /// The emulator's call, the log of the board into a file.
    fn emulator(self, log: &Path) -> Command {
        let log = log.display();
        let (program, more) = if self.name == Self::RV32.name {
            // It has one UART: its log leaves by the console.
            let console = "enable=on,target=native,chardev=log";
            let mut more = vec!["-bios".to_owned(), "none".to_owned()];
            more.extend(["-chardev".to_owned(), format!("file,id=log,path={log}")]);
            more.extend(["-semihosting-config".to_owned(), console.to_owned()]);
            ("qemu-system-riscv32", more)
        } else {
            let more = vec!["-serial".to_owned(), format!("file:{log}")];
            ("qemu-system-arm", more)
        };
        let mut call = Command::new(program);
        call.args(["-M", self.name, "-display", "none", "-monitor", "none"]);
        call.args(["-serial", "chardev:port"]).args(more);
        call
    }
}

impl fmt::Display for Machine {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(self.name)
    }
}

/// An emulator and its socket.
pub(crate) struct Emulated {
    child: Child,
    socket: UnixStream,
    /// Reads and writes registers from outside, a line of text each.
    registers: UnixStream,
    machine: Machine,
    /// Read and not used yet.
    read: Vec<u8>,
    used: usize,
    /// To be sent.
    out: Vec<u8>,
    /// Its flash.
    records: [Option<[u8; 12]>; 2],
    /// Whether the instructions of each answer are to be heeded, and whether it looked at the cells.
    passes: Vec<Option<bool>>,
    counts: PathBuf,
    /// The plugin knows the markers of an Arm only.
    counted: bool,
}

impl Emulated {
    /// Starts `image` out of `images` on `machine`; its socket and its log lie in `folder` as `name`.
    pub(crate) fn start(
        machine: Machine,
        images: &Path,
        image: &str,
        folder: &Path,
        name: &str,
        plugin: &Path,
    ) -> Result<Self, Trouble> {
        let image = machine.image(images, image);
        if !image.exists() {
            return Err(format!("{}: no such image; build it first", image.display()).into());
        }
        let path = folder.join(format!("{name}.socket"));
        let listener = listen(&path)?;
        let registers = folder.join(format!("{name}.registers"));
        let listener_of_registers = listen(&registers)?;
        let counts = folder.join(format!("{name}.counts"));
        let counted = machine.name != Machine::RV32.name;
        let mut call = machine.emulator(&folder.join(format!("{name}.log")));
        if counted {
            call.arg("-plugin")
                .arg(format!("file={}", plugin.display()));
        }
        let mut child = call
            .arg("-chardev")
            .arg(format!("socket,id=port,path={}", path.display()))
            .args(["-accel", "tcg", "-qtest"])
            .arg(format!("unix:{}", registers.display()))
            .arg("-kernel")
            .arg(image)
            .stdin(Stdio::null())
            .stdout(File::create(&counts)?)
            .stderr(Stdio::null())
            .spawn()
            .map_err(|why| format!("the emulator of {machine} does not start: {why}"))?;
        let socket = accept(&listener, &mut child)?;
        let registers = accept(&listener_of_registers, &mut child)?;
        let mut board = Self {
            child,
            socket,
            registers,
            machine,
            read: Vec::new(),
            used: 0,
            out: Vec::new(),
            records: [None; 2],
            passes: Vec::new(),
            counts,
            counted,
        };
        // It says once that it waits for its timer.
        board.answer()?;
        board.passes.push(None);
        Ok(board)
    }

    /// Raises an interrupt that the image does not handle, while it sleeps; its number.
    pub(crate) fn interrupt(&mut self) -> Result<u8, Trouble> {
        let (number, writes) = self.machine.foreign();
        for (register, value) in writes {
            writeln!(self.registers, "writel {register:#x} {value:#x}")?;
            let mut answer = [0; 3];
            self.registers.read_exact(&mut answer)?;
            if answer != *b"OK\n" {
                return Err(format!("register {register:#x} cannot be written").into());
            }
        }
        Ok(number)
    }

    /// The image has started anew: it waits for its timer, and its flash is as it was.
    pub(crate) fn begin_anew(&mut self) -> Result<(), Trouble> {
        self.answer()?;
        self.passes.push(None);
        for (place, record) in (0..).zip(&self.records) {
            if let Some(record) = record {
                self.out.extend([b'S', place]);
                self.out.extend(record);
            }
        }
        Ok(())
    }

    /// Whether it makes no pass any more, though its timer goes on.
    pub(crate) fn is_silent(&mut self, tick: u64) -> Result<bool, Trouble> {
        self.socket.set_read_timeout(Some(Duration::from_secs(3)))?;
        let answer = self.go(tick, Inputs::default());
        self.socket.set_read_timeout(Some(PATIENCE))?;
        // An emulator that has ended is silent as well.
        let runs = self.child.try_wait()?.is_none();
        let timed_out = answer.err().is_some_and(|why| {
            let why = why
                .downcast_ref::<std::io::Error>()
                .map(std::io::Error::kind);
            matches!(why, Some(ErrorKind::WouldBlock | ErrorKind::TimedOut))
        });
        Ok(runs && timed_out)
    }

    /// Ends the emulator: instructions of all passes, and of those with a look at the cells, each in
    /// order of length; none where they are not counted.
    pub(crate) fn counts(mut self) -> Result<Option<[Vec<u64>; 2]>, Trouble> {
        self.child.kill()?;
        self.child.wait()?;
        if !self.counted {
            return Ok(None);
        }
        let text = std::fs::read_to_string(&self.counts)?;
        let counts = text.lines().filter_map(|line| line.strip_prefix("#count "));
        let counts: Vec<u64> = counts.map(str::parse).collect::<Result<_, _>>()?;
        if counts.len() != self.passes.len() {
            let (counts, passes) = (counts.len(), self.passes.len());
            return Err(format!("{counts} counts of instructions for {passes} passes").into());
        }
        Ok(Some([false, true].map(|looked| {
            let passes = counts.iter().zip(&self.passes);
            let passes = passes.filter(|(_, pass)| **pass == Some(looked));
            let mut counts: Vec<u64> = passes.map(|(count, _)| *count).collect();
            counts.sort_unstable();
            counts
        })))
    }

    fn take<const N: usize>(&mut self) -> Result<[u8; N], Trouble> {
        while self.read.len() - self.used < N {
            self.read.drain(..self.used);
            self.used = 0;
            let mut more = [0; 4_096];
            match self.socket.read(&mut more) {
                Ok(0) => return Err("the emulator has ended".into()),
                Ok(count) => self.read.extend_from_slice(&more[..count]),
                Err(why) => {
                    let said = format!("the board does not answer: {why}");
                    return Err(std::io::Error::new(why.kind(), said).into());
                }
            }
        }
        let mut bytes = [0; N];
        bytes.copy_from_slice(&self.read[self.used..self.used + N]);
        self.used += N;
        Ok(bytes)
    }

    fn ticks(&mut self) -> Result<u64, Trouble> {
        Ok(u64::from_le_bytes(self.take()?))
    }

    fn answer(&mut self) -> Result<Answer, Trouble> {
        let mut answer = Answer::default();
        loop {
            match self.take::<1>()?[0] {
                b'F' => answer.frames.push((self.ticks()?, self.take()?)),
                b'E' => {
                    let onset = self.ticks()?;
                    let bound = u32::from_le_bytes(self.take()?);
                    let [number, bits] = self.take()?;
                    answer.told.push(Told {
                        onset,
                        bound,
                        number,
                        touched: bits & 0x80 != 0,
                        remarks: bits & 0x7F,
                    });
                }
                b'S' => {
                    let [place] = self.take()?;
                    let record = self.take()?;
                    *self
                        .records
                        .get_mut(usize::from(place))
                        .ok_or("a record for no place")? = Some(record);
                }
                b'D' => {
                    answer.wake = Some(self.ticks()?).filter(|wake| *wake != u64::MAX);
                    answer.valid_until = Some(self.ticks()?).filter(|until| *until != 0);
                    [answer.pins, answer.latched] = self.take()?;
                    return Ok(answer);
                }
                other => {
                    return Err(format!("the board says {other:#04x}, which is nothing").into())
                }
            }
        }
    }
}

fn listen(path: &Path) -> Result<UnixListener, Trouble> {
    let _ = std::fs::remove_file(path);
    let listener = UnixListener::bind(path)?;
    listener.set_nonblocking(true)?;
    Ok(listener)
}

/// The emulator's call, unless it ends or waits for too long.
fn accept(listener: &UnixListener, child: &mut Child) -> Result<UnixStream, Trouble> {
    let until = Instant::now() + PATIENCE;
    while Instant::now() < until {
        if let Ok((socket, _)) = listener.accept() {
            socket.set_nonblocking(false)?;
            socket.set_read_timeout(Some(PATIENCE))?;
            socket.set_write_timeout(Some(PATIENCE))?;
            return Ok(socket);
        }
        if let Some(status) = child.try_wait()? {
            return Err(format!("the emulator ended at once: {status}").into());
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    let _ = child.kill();
    Err("the emulator does not call".into())
}

impl Side for Emulated {
    fn captured(&mut self, edge: Captured) -> Result<(), Trouble> {
        self.out.push(b'C');
        self.out.extend(edge.raw.to_le_bytes());
        let bits = match edge.level {
            Level::Low => 0,
            Level::High => 1,
            Level::Unknown => 4,
        };
        self.out.push(bits | u8::from(edge.over) << 1);
        Ok(())
    }

    fn noise(&mut self, bytes: &[u8]) -> Result<(), Trouble> {
        self.out.extend(bytes);
        Ok(())
    }

    fn heard(&mut self, count: u32, frame: &Frame) -> Result<(), Trouble> {
        self.out.push(b'F');
        self.out.extend(count.to_le_bytes());
        self.out.extend(frame);
        Ok(())
    }

    fn restart(&mut self) -> Result<(), Trouble> {
        self.out.clear();
        self.socket.write_all(b"X")?;
        self.begin_anew()
    }

    fn go(&mut self, tick: u64, inputs: Inputs) -> Result<Answer, Trouble> {
        self.out.push(b'G');
        self.out.extend((tick as u32).to_le_bytes());
        self.out.extend(inputs.pass_ticks.to_le_bytes());
        self.out.push(inputs.pins);
        self.out.extend(inputs.millivolts.0.to_le_bytes());
        self.out.extend(inputs.millivolts.1.to_le_bytes());
        self.socket.write_all(&self.out)?;
        self.out.clear();
        let answer = self.answer()?;
        let timed = inputs.pass_ticks > 0;
        self.passes
            .push(timed.then_some(answer.pins & CONVERTED != 0));
        Ok(answer)
    }
}

impl Drop for Emulated {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
