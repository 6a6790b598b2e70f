//! The host's end of the serial link to a board.
//!
//! Decides: how a board is reached: `tcp:HOST:PORT`, `unix:PATH`, or a serial port as `PATH` or
//! `PATH@BAUD`.
//! Assumes: the frames of [`bandward::link`].
//! Never: waits without an end.

mod block;
pub mod live;
pub mod numbered;
pub mod recording;
mod rows_file;
pub mod session;
mod silence;
mod written_file;

use anyhow::{Context, Result, anyhow, bail};
use bandward::link::frame::LONGEST_FRAME;
use bandward::link::{Counts, Receiver, Request, Sender};
use std::fmt;
use std::io::{ErrorKind, Read, Write};
use std::net::{TcpStream, ToSocketAddrs as _};
use std::time::{Duration, Instant};

pub use session::Session;

/// Baud of a serial port where none is given.
pub const DEFAULT_BAUD: u32 = 460_800;

/// How long to wait for a connection, and for the line to take what is written.
const PATIENCE: Duration = Duration::from_secs(5);

/// The link is gone: it must be opened anew.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LinkLost(pub String);

impl fmt::Display for LinkLost {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(to, "the link to the board is lost: {}", self.0)
    }
}

impl std::error::Error for LinkLost {}

impl LinkLost {
    fn by(error: &std::io::Error) -> anyhow::Error {
        Self(error.to_string()).into()
    }
}

/// What a board says, with its bytes owned.
pub type Report = bandward::link::Report<Vec<u8>>;

/// A stream of bytes both ways whose reads give up after a time.
trait Transport: Read + Write + Send {
    fn give_up_after(&mut self, wait: Duration) -> std::io::Result<()>;
}

impl Transport for TcpStream {
    fn give_up_after(&mut self, wait: Duration) -> std::io::Result<()> {
        self.set_read_timeout(Some(wait))
    }
}

#[cfg(unix)]
impl Transport for std::os::unix::net::UnixStream {
    fn give_up_after(&mut self, wait: Duration) -> std::io::Result<()> {
        self.set_read_timeout(Some(wait))
    }
}

impl Transport for Box<dyn serialport::SerialPort> {
    fn give_up_after(&mut self, wait: Duration) -> std::io::Result<()> {
        Ok(self.set_timeout(wait)?)
    }
}

/// A connection to a board.
pub struct Link {
    transport: Box<dyn Transport>,
    sender: Sender,
    receiver: Receiver,
    /// Bytes that have come and were not looked at yet.
    waiting: Vec<u8>,
    looked_at: usize,
    heard: Instant,
    /// Has the board been started anew since this was last asked?
    has_started_anew: bool,
}

impl Link {
    /// Connects to the board at `address`.
    ///
    /// # Errors
    /// Says what could not be opened and what an address looks like.
    pub fn open(address: &str) -> Result<Self> {
        let transport = connect(address).with_context(|| {
            format!("cannot reach a board at {address:?} (allowed: tcp:HOST:PORT, unix:PATH, PATH or PATH@BAUD of a serial port)")
        })?;
        Ok(Self {
            transport,
            sender: Sender::new(),
            receiver: Receiver::new(),
            waiting: Vec::new(),
            looked_at: 0,
            heard: Instant::now(),
            has_started_anew: false,
        })
    }
    /// Sends a request.
    ///
    /// # Errors
    /// When the link is lost, or the request is too long for a frame.
    pub fn send(&mut self, request: &Request<'_>) -> Result<()> {
        let mut frame = [0; LONGEST_FRAME];
        let Some(frame) = self.sender.frame(request, &mut frame) else {
            bail!("the request is too long for a frame of the link");
        };
        self.transport
            .write_all(frame)
            .and_then(|()| self.transport.flush())
            .map_err(|error| LinkLost::by(&error))
    }
    /// The next report, waiting for it no longer than `wait`; `None` when none came in that time.
    ///
    /// # Errors
    /// When the link is lost.
    pub fn poll(&mut self, wait: Duration) -> Result<Option<Report>> {
        let until = Instant::now() + wait;
        loop {
            while let Some(&byte) = self.waiting.get(self.looked_at) {
                self.looked_at += 1;
                let before = self.receiver.last();
                if let Some(report) = self.receiver.push::<Report>(byte) {
                    self.heard = Instant::now();
                    self.has_started_anew |= before.is_some() && self.receiver.last() == Some(0);
                    return Ok(Some(report));
                }
            }
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() || !self.fill(left)? {
                return Ok(None);
            }
        }
    }
    /// Reads what is there; returns whether anything was.
    fn fill(&mut self, wait: Duration) -> Result<bool> {
        let mut bytes = [0; 4096];
        let set = self.transport.give_up_after(wait.max(Duration::from_millis(1)));
        set.map_err(|error| LinkLost::by(&error))?;
        match self.transport.read(&mut bytes) {
            Ok(0) => Err(LinkLost("the other end closed it".to_owned()).into()),
            Ok(count) => {
                self.waiting.clear();
                self.waiting.extend_from_slice(&bytes[..count]);
                self.looked_at = 0;
                Ok(true)
            }
            Err(error) => match error.kind() {
                ErrorKind::WouldBlock | ErrorKind::TimedOut | ErrorKind::Interrupted => Ok(false),
                _ => Err(LinkLost::by(&error)),
            },
        }
    }
    /// How long ago the last whole report came.
    pub fn quiet_for(&self) -> Duration {
        self.heard.elapsed()
    }
    /// Has the board been started anew, since this was last asked, behind the same line?
    pub fn take_start(&mut self) -> bool {
        std::mem::take(&mut self.has_started_anew)
    }
    /// How the link fares, seen from the host.
    pub fn counts(&self) -> Counts {
        self.receiver.counts()
    }
}

fn connect(address: &str) -> Result<Box<dyn Transport>> {
    if let Some(address) = address.strip_prefix("tcp:") {
        return Ok(Box::new(connect_tcp(address)?));
    }
    #[cfg(unix)]
    if let Some(path) = address.strip_prefix("unix:") {
        let stream = std::os::unix::net::UnixStream::connect(path)?;
        stream.set_write_timeout(Some(PATIENCE))?;
        return Ok(Box::new(stream));
    }
    let (path, baud) = match address.rsplit_once('@') {
        Some((path, baud)) => (
            path,
            baud.parse().map_err(|_| anyhow!("{baud:?} is no baud rate: a whole number, as in 460800"))?,
        ),
        None => (address, DEFAULT_BAUD),
    };
    let port = serialport::new(path, baud).timeout(PATIENCE).open();
    Ok(Box::new(port.with_context(|| format!("{path} cannot be used as a serial port"))?))
}

fn connect_tcp(address: &str) -> Result<TcpStream> {
    let mut tried = anyhow!("no such host");
    for address in address.to_socket_addrs()? {
        match TcpStream::connect_timeout(&address, PATIENCE) {
            Ok(stream) => {
                stream.set_nodelay(true)?;
                stream.set_write_timeout(Some(PATIENCE))?;
                return Ok(stream);
            }
            Err(error) => tried = error.into(),
        }
    }
    Err(tried)
}
