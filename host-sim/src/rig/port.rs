//! Where a device is: a serial device, or the far end of a TCP connection.

use std::io::{self, Read, Write};
use std::net::{TcpStream, ToSocketAddrs};
use std::time::{Duration, Instant};

use serialport::SerialPort;

use crate::fault::{Fault, Place};

/// Longest time for a connection to come about.
const CONNECT: Duration = Duration::from_secs(5);

/// A line with a device at its far end, and the time it takes.
pub trait Port {
    /// Reads what has come, waiting up to `within` for the first byte; 0 if nothing has.
    ///
    /// # Errors
    /// The line is gone.
    fn read(&mut self, room: &mut [u8], within: Duration) -> io::Result<usize>;

    /// Sends all of `bytes`.
    ///
    /// # Errors
    /// The line is gone, or takes nothing.
    fn write(&mut self, bytes: &[u8]) -> io::Result<()>;

    /// Time since any zero.
    fn now(&self) -> Duration;
}

/// Opens `name`: `tcp:HOST:PORT`, or else a serial device at `baud` baud, 8 bits, no parity.
///
/// # Errors
/// There is no such device or nobody listens.
pub fn open(name: &str, baud: u32) -> Result<Box<dyn Port>, Fault> {
    match name.strip_prefix("tcp:") {
        Some(address) => Tcp::open(address).map(|port| Box::new(port) as Box<dyn Port>),
        None => Serial::open(name, baud).map(|port| Box::new(port) as Box<dyn Port>),
    }
    .map_err(|fault| fault.at(Place::Setting(format!("--port {name}"))))
}

/// Whether nothing has come within the time.
fn is_silence(why: &io::Error) -> bool {
    use io::ErrorKind::{Interrupted, TimedOut, WouldBlock};
    matches!(why.kind(), Interrupted | TimedOut | WouldBlock)
}

/// A read that may have met silence.
fn silence_is_nothing(read: io::Result<usize>) -> io::Result<usize> {
    match read {
        Ok(0) => Err(io::ErrorKind::UnexpectedEof.into()),
        Err(why) if is_silence(&why) => Ok(0),
        other => other,
    }
}

struct Tcp {
    stream: TcpStream,
    zero: Instant,
}

impl Tcp {
    fn open(address: &str) -> Result<Self, Fault> {
        const FORM: &str = "tcp:HOST:PORT, such as tcp:localhost:4000";
        let refused = |why: io::Error| {
            let remedy =
                "check that the device or its bridge listens there, and no firewall stands between";
            Fault::new(why.to_string(), "a listener at this address", remedy)
        };
        let found = address.to_socket_addrs();
        let found = found.map_err(|why| Fault::new(why.to_string(), FORM, "check the address"))?;
        let mut last = io::ErrorKind::AddrNotAvailable.into();
        for address in found {
            match TcpStream::connect_timeout(&address, CONNECT) {
                Ok(stream) => {
                    stream
                        .set_nodelay(true)
                        .and_then(|()| stream.set_write_timeout(Some(CONNECT)))
                        .map_err(refused)?;
                    let zero = Instant::now();
                    return Ok(Self { stream, zero });
                }
                Err(why) => last = why,
            }
        }
        Err(refused(last))
    }
}

impl Port for Tcp {
    fn read(&mut self, room: &mut [u8], within: Duration) -> io::Result<usize> {
        // A time of nothing would mean for ever.
        let within = within.max(Duration::from_millis(1));
        self.stream.set_read_timeout(Some(within))?;
        silence_is_nothing(self.stream.read(room))
    }

    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.stream.write_all(bytes)
    }

    fn now(&self) -> Duration {
        self.zero.elapsed()
    }
}

struct Serial {
    port: Box<dyn SerialPort>,
    zero: Instant,
}

impl Serial {
    fn open(name: &str, baud: u32) -> Result<Self, Fault> {
        let port = serialport::new(name, baud).timeout(CONNECT).open();
        let port = port.map_err(|why| {
            Fault::new(
                why.to_string(),
                "a serial device that can be opened, or tcp:HOST:PORT",
                "check the name, that you may use it, and that no other program has it open",
            )
        })?;
        let zero = Instant::now();
        Ok(Self { port, zero })
    }
}

impl Port for Serial {
    fn read(&mut self, room: &mut [u8], within: Duration) -> io::Result<usize> {
        self.port
            .set_timeout(within.max(Duration::from_millis(1)))?;
        silence_is_nothing(self.port.read(room))
    }

    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.port.set_timeout(CONNECT)?;
        self.port.write_all(bytes)
    }

    fn now(&self) -> Duration {
        self.zero.elapsed()
    }
}
