//! A network address that leads to the emulated serial port, and can be cut.
//!
//! Decides: nothing.
//! Assumes: one host at a time.
//! Never: changes a byte.

use crate::emulator::Running;
use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::os::unix::net::UnixStream;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// More bytes than ever pass.
pub const NEVER: usize = usize::MAX;

/// The address and the connection of now.
pub struct Line {
    /// Where a host connects.
    pub address: String,
    now: Arc<Mutex<Option<TcpStream>>>,
    /// Bytes from the host after which it cuts itself.
    pub cut_after: Arc<AtomicUsize>,
    is_open: Arc<AtomicBool>,
}

impl Line {
    /// To this board.
    ///
    /// # Panics
    /// There is no network on this machine.
    pub fn to(board: &Running) -> Self {
        let line = Self::shut(board);
        line.open();
        line
    }
    /// To the Modbus port of this board.
    ///
    /// # Panics
    /// As [`Self::to`].
    pub fn to_modbus(board: &Running) -> Self {
        let line = Self::leading_to(board.modbus());
        line.open();
        line
    }
    /// To this board, but nothing gets through before it is opened.
    ///
    /// # Panics
    /// As [`Self::to`].
    pub fn shut(board: &Running) -> Self {
        Self::leading_to(PathBuf::from(board.address().strip_prefix("unix:").expect("a socket")))
    }
    fn leading_to(path: PathBuf) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let address = listener.local_addr().expect("bound").to_string();
        let (now, cut_after) = (Arc::default(), Arc::new(AtomicUsize::new(NEVER)));
        let line = Self { address, now, cut_after, is_open: Arc::default() };
        let (now, cut_after, is_open) = (line.now.clone(), line.cut_after.clone(), line.is_open.clone());
        std::thread::spawn(move || {
            while !is_open.load(Ordering::Relaxed) {
                std::thread::sleep(Duration::from_millis(10));
            }
            for host in listener.incoming().map_while(Result::ok) {
                let board = UnixStream::connect(&path).expect("the board is there");
                *now.lock().expect("kept") = Some(host.try_clone().expect("cloned"));
                let (from_board, to_host) =
                    (board.try_clone().expect("cloned"), host.try_clone().expect("cloned"));
                std::thread::spawn(move || copy(from_board, to_host, &AtomicUsize::new(NEVER)));
                copy(host.try_clone().expect("cloned"), board.try_clone().expect("cloned"), &cut_after);
                // Whichever end is gone, the other one is told.
                let _ = (host.shutdown(Shutdown::Both), board.shutdown(Shutdown::Both));
            }
        });
        line
    }
    /// Lets everything through from now on.
    pub fn open(&self) {
        self.is_open.store(true, Ordering::Relaxed);
    }
    /// Cuts it; whoever connects again gets through.
    ///
    /// # Panics
    /// Nobody is connected.
    pub fn cut(&self) {
        let host = self.now.lock().expect("kept").take().expect("somebody is connected");
        host.shutdown(Shutdown::Both).expect("it was open");
    }
}

/// Hands bytes on until either end is gone or as many as `most` have passed.
fn copy(mut from: impl Read, mut to: impl Write, most: &AtomicUsize) {
    let (mut bytes, mut passed) = ([0; 512], 0);
    while let Ok(count @ 1..) = from.read(&mut bytes) {
        passed += count;
        if passed > most.load(Ordering::Relaxed) || to.write_all(&bytes[..count]).is_err() {
            return;
        }
    }
}
