//! A device and a program with a bad line between them.
//!
//! `noisy_line tcp|pty|loop LOST CHANGED ADDED SEED CUT DEVICE.. -- PROGRAM..`
//!
//! Starts both commands, `{}` in them replaced by where to connect: for the device HOST:PORT, for
//! the program `tcp:HOST:PORT` or a pseudo-terminal. By `loop` the device hears what it sends. LOST, CHANGED and ADDED are bytes of a million,
//! each way; after CUT bytes from the device the line is dead (0: never). Exit status: that of the
//! program; 3 if the line itself failed.

use std::io::{self, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::process::{Child, Command, ExitCode, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use serialport::{SerialPort, TTYPort};
use trueonset_tests::noise::{Noise, Rates};

/// Longest time for a command to connect, and for the whole test.
const CONNECT: Duration = Duration::from_secs(20);
const WHOLE: Duration = Duration::from_secs(120);

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    match join(&words) {
        Ok(status) => ExitCode::from(status),
        Err(why) => {
            eprintln!("error: noisy_line: {why}");
            ExitCode::from(3)
        }
    }
}

fn join(words: &[String]) -> io::Result<u8> {
    let usage = || {
        io::Error::other("usage: tcp|pty|loop LOST CHANGED ADDED SEED CUT DEVICE.. -- PROGRAM..")
    };
    let [kind, lost, changed, added, seed, cut, commands @ ..] = words else {
        return Err(usage());
    };
    let number = |word: &String| word.parse::<u32>().map_err(|_| usage());
    let rates = Rates {
        lost: number(lost)?,
        changed: number(changed)?,
        added: number(added)?,
    };
    let (seed, cut) = (u64::from(number(seed)?), number(cut)?);
    let mut commands = commands.splitn(2, |word| word == "--");
    let (Some(device), Some(program)) = (commands.next(), commands.next()) else {
        return Err(usage());
    };

    let far = TcpListener::bind("127.0.0.1:0")?;
    let near = TcpListener::bind("127.0.0.1:0")?;
    let pty = (kind == "pty").then(TTYPort::pair).transpose()?;
    let place = match &pty {
        Some((_, slave)) => slave.name().unwrap_or_default(),
        None => format!("tcp:{}", near.local_addr()?),
    };
    let mut device = start(device, &far.local_addr()?.to_string(), Stdio::null())?;
    let far = accept(&far, &mut device);
    let ended = far.and_then(|far| {
        let mut program = start(program, &place, Stdio::inherit())?;
        let there = Noise::new(rates, seed);
        let back = Noise::new(rates, !seed);
        let cut = if cut == 0 { usize::MAX } else { cut as usize };
        let (from_device, to_device) = (far.try_clone()?, far);
        if let Some((master, _)) = &pty {
            let (mut out, mut from) = (master.try_clone_native()?, master.try_clone_native()?);
            out.set_timeout(WHOLE)?;
            from.set_timeout(WHOLE)?;
            thread::spawn(move || carry(from_device, out, back, cut));
            thread::spawn(move || carry(from, to_device, there, usize::MAX));
        } else {
            let near = accept(&near, &mut program)?;
            let from = near.try_clone()?;
            let own = (kind == "loop").then(|| to_device.try_clone());
            let out = Both(near, own.transpose()?);
            thread::spawn(move || carry(from_device, out, back, cut));
            thread::spawn(move || carry(from, to_device, there, usize::MAX));
        }
        wait(&mut program)
    });
    device.kill()?;
    device.wait()?;
    ended
}

fn start(words: &[String], place: &str, out: Stdio) -> io::Result<Child> {
    let mut words = words.iter().map(|word| word.replace("{}", place));
    let name = words.next().unwrap_or_default();
    let mut command = Command::new(name);
    command.args(words).stdin(Stdio::null()).stdout(out).spawn()
}

/// Waits for `child` to connect.
fn accept(listener: &TcpListener, child: &mut Child) -> io::Result<TcpStream> {
    listener.set_nonblocking(true)?;
    let start = Instant::now();
    while start.elapsed() < CONNECT && child.try_wait()?.is_none() {
        match listener.accept() {
            Ok((stream, _)) => {
                stream.set_nonblocking(false)?;
                stream.set_nodelay(true)?;
                return Ok(stream);
            }
            Err(why) if why.kind() == io::ErrorKind::WouldBlock => {
                thread::sleep(Duration::from_millis(10));
            }
            Err(why) => return Err(why),
        }
    }
    Err(io::Error::other("a command did not connect"))
}

fn wait(program: &mut Child) -> io::Result<u8> {
    let start = Instant::now();
    loop {
        if let Some(status) = program.try_wait()? {
            return Ok(status
                .code()
                .and_then(|code| u8::try_from(code).ok())
                .unwrap_or(3));
        }
        if start.elapsed() > WHOLE {
            program.kill()?;
            program.wait()?;
            return Err(io::Error::other("the program did not end"));
        }
        thread::sleep(Duration::from_millis(10));
    }
}

/// What is sent to the first comes to the second as well.
struct Both(TcpStream, Option<TcpStream>);

impl Write for Both {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if let Some(second) = &mut self.1 {
            second.write_all(bytes)?;
        }
        self.0.write_all(bytes)?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

/// One direction, until an end is gone; after `cut` bytes all are swallowed.
fn carry(mut from: impl Read, mut to: impl Write, mut noise: Noise, cut: usize) {
    let mut room = [0; 512];
    let mut left = cut;
    while let Ok(read @ 1..) = from.read(&mut room) {
        let mut bytes = Vec::new();
        noise.pass(&room[..read], &mut bytes);
        bytes.truncate(left);
        left -= bytes.len();
        if to.write_all(&bytes).is_err() {
            return;
        }
    }
}
