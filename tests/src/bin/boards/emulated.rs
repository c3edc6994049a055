//! A board in the emulator, spoken to over its UART; see `examples/firmware/src/machine`.

use std::fs::File;
use std::io::{Read, Write};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use trueonset::edge::Level;
use trueonset::pins::Captured;

use crate::side::{Answer, Frame, Inputs, Side, Told, Trouble, CONVERTED};

/// Longest wait for a board, which answers in microseconds.
const PATIENCE: Duration = Duration::from_secs(20);

/// An emulator and its socket.
pub(crate) struct Emulated {
    child: Child,
    socket: UnixStream,
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
}

impl Emulated {
    /// Starts `image` on `machine`; the socket and what its second UART says lie in `folder`.
    pub(crate) fn start(
        machine: &str,
        image: &Path,
        folder: &Path,
        name: &str,
        plugin: &Path,
    ) -> Result<Self, Trouble> {
        if !image.exists() {
            return Err(format!("{}: no such image; build it first", image.display()).into());
        }
        let path = folder.join(format!("{name}.socket"));
        let _ = std::fs::remove_file(&path);
        let listener = UnixListener::bind(&path)?;
        listener.set_nonblocking(true)?;
        let counts = folder.join(format!("{name}.counts"));
        let mut child = Command::new("qemu-system-arm")
            .args(["-M", machine, "-display", "none", "-monitor", "none"])
            .arg("-chardev")
            .arg(format!("socket,id=port,path={}", path.display()))
            .args(["-serial", "chardev:port", "-serial"])
            .arg(format!(
                "file:{}",
                folder.join(format!("{name}.log")).display()
            ))
            .arg("-plugin")
            .arg(format!("file={}", plugin.display()))
            .arg("-kernel")
            .arg(image)
            .stdin(Stdio::null())
            .stdout(File::create(&counts)?)
            .stderr(Stdio::null())
            .spawn()
            .map_err(|why| format!("qemu-system-arm does not start: {why}"))?;
        let socket = accept(&listener, &mut child)?;
        let mut board = Self {
            child,
            socket,
            read: Vec::new(),
            used: 0,
            out: Vec::new(),
            records: [None; 2],
            passes: Vec::new(),
            counts,
        };
        // It says once that it waits for its timer.
        board.answer()?;
        board.passes.push(None);
        Ok(board)
    }

    /// Ends the emulator: instructions of all passes, and of those with a look at the cells, each in
    /// order of length.
    pub(crate) fn counts(mut self) -> Result<[Vec<u64>; 2], Trouble> {
        self.child.kill()?;
        self.child.wait()?;
        let text = std::fs::read_to_string(&self.counts)?;
        let counts = text.lines().filter_map(|line| line.strip_prefix("#count "));
        let counts: Vec<u64> = counts.map(str::parse).collect::<Result<_, _>>()?;
        if counts.len() != self.passes.len() {
            let (counts, passes) = (counts.len(), self.passes.len());
            return Err(format!("{counts} counts of instructions for {passes} passes").into());
        }
        Ok([false, true].map(|looked| {
            let passes = counts.iter().zip(&self.passes);
            let passes = passes.filter(|(_, pass)| **pass == Some(looked));
            let mut counts: Vec<u64> = passes.map(|(count, _)| *count).collect();
            counts.sort_unstable();
            counts
        }))
    }

    fn take<const N: usize>(&mut self) -> Result<[u8; N], Trouble> {
        while self.read.len() - self.used < N {
            self.read.drain(..self.used);
            self.used = 0;
            let mut more = [0; 4_096];
            match self.socket.read(&mut more) {
                Ok(0) => return Err("the emulator has ended".into()),
                Ok(count) => self.read.extend_from_slice(&more[..count]),
                Err(why) => return Err(format!("the board does not answer: {why}").into()),
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
