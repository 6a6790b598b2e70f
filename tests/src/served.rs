//! `bandward watch --serve` running, and a plain way to ask it.
//!
//! Decides: nothing.
//! Assumes: the program tells where it serves on standard output, and the tokens on standard error.
//! Never: waits without an end.

use crate::program;
use serde_json::Value;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::{Duration, Instant};

const PATIENCE: Duration = Duration::from_secs(20);

/// A watch with a page.
pub struct Served {
    child: Child,
    /// Where it is.
    pub address: SocketAddr,
    /// The token for acting.
    pub act: String,
    lines: Receiver<Value>,
}

impl Served {
    /// Starts `bandward watch` with these arguments and a page at a free port; runs in `folder`.
    ///
    /// # Panics
    /// It does not start to serve.
    pub fn start(folder: &Path, arguments: &[&str]) -> Self {
        Self::at(folder, "127.0.0.1:0", arguments)
    }
    /// The same at an address.
    ///
    /// # Panics
    /// As [`Self::start`].
    pub fn at(folder: &Path, address: &str, arguments: &[&str]) -> Self {
        Self::by(&program::path(), folder, address, arguments)
    }
    /// The same with this program.
    ///
    /// # Panics
    /// As [`Self::start`].
    pub fn by(program: &Path, folder: &Path, address: &str, arguments: &[&str]) -> Self {
        let mut child = Command::new(program)
            .arg("watch")
            .args(arguments)
            .args(["--json", "--serve", address])
            .current_dir(folder)
            .env("XDG_CONFIG_HOME", folder)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program runs");
        let (output, said) = (child.stdout.take().expect("piped"), child.stderr.take().expect("piped"));
        let (tell, lines) = channel();
        std::thread::spawn(move || {
            let values = BufReader::new(output).lines().map_while(Result::ok);
            let told = values.map_while(|line| serde_json::from_str(&line).ok());
            told.map(|one| tell.send(one)).take_while(Result::is_ok).count()
        });
        let mut served = Self { child, address: ([127, 0, 0, 1], 0).into(), act: String::new(), lines };
        let told = served.expect("serving");
        let told = told["address"].as_str().expect("an address");
        let authority = told.trim_start_matches("http://").trim_end_matches('/');
        served.address = authority.parse().expect("an address");
        // The tokens are said as the line is.
        let mut said = BufReader::new(said);
        let token = said.by_ref().lines().map_while(Result::ok).find_map(|line| {
            let (_, token) = line.split_once("#act=")?;
            Some(token.to_owned())
        });
        let token = token.expect("a token");
        served.act = token.chars().take_while(char::is_ascii_hexdigit).collect();
        // Whatever else is said must not stop the program.
        std::thread::spawn(move || std::io::copy(&mut said, &mut std::io::sink()));
        served
    }
    /// The next line of this kind.
    ///
    /// # Panics
    /// There is none for too long.
    pub fn expect(&mut self, event: &str) -> Value {
        let until = Instant::now() + PATIENCE;
        loop {
            let left = until.saturating_duration_since(Instant::now());
            let line = self.lines.recv_timeout(left).unwrap_or_else(|_| panic!("no line {event}"));
            if line["event"] == event {
                return line;
            }
        }
    }
    /// All lines that come until it ends.
    ///
    /// # Panics
    /// It does not end for too long.
    pub fn rest(&mut self) -> Vec<Value> {
        let until = Instant::now() + PATIENCE;
        let mut lines = Vec::new();
        loop {
            match self.lines.recv_timeout(until.saturating_duration_since(Instant::now())) {
                Ok(line) => lines.push(line),
                Err(RecvTimeoutError::Disconnected) => return lines,
                Err(RecvTimeoutError::Timeout) => panic!("it goes on, after {} lines", lines.len()),
            }
        }
    }
    /// The address of the page.
    pub fn url(&self) -> String {
        format!("http://{}/", self.address)
    }
    /// Asks with these lines of a head; the answer as it came, head and body.
    pub fn ask(&self, line: &str, heads: &str, body: &str) -> String {
        let host = format!("Host: {}\r\n", self.address);
        self.ask_raw(&format!(
            "{line} HTTP/1.1\r\n{host}Connection: close\r\n{heads}Content-Length: {}\r\n\r\n{body}",
            body.len()
        ))
    }
    /// Sends this and nothing else; what comes back, until it ends or nothing comes for a time.
    ///
    /// # Panics
    /// Nobody is there.
    pub fn ask_raw(&self, bytes: &str) -> String {
        let mut stream = TcpStream::connect(self.address).expect("somebody is there");
        stream.set_read_timeout(Some(Duration::from_secs(4))).expect("a timeout");
        // Whoever is refused early may be hung up on while it still writes.
        let _ = stream.write_all(bytes.as_bytes());
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        String::from_utf8_lossy(&answer).into_owned()
    }
    /// The state of now.
    ///
    /// # Panics
    /// It is not given.
    pub fn state(&self) -> Value {
        let answer = self.ask("GET /state.json", "", "");
        let (_, body) = answer.split_once("\r\n\r\n").unwrap_or_else(|| panic!("{answer}"));
        serde_json::from_str(body).unwrap_or_else(|_| panic!("{answer}"))
    }
    /// The first state of which this is so; `what` says it in words.
    ///
    /// # Panics
    /// It is not so for too long.
    pub fn state_where(&self, what: &str, is_so: impl Fn(&Value) -> bool) -> Value {
        let until = Instant::now() + PATIENCE;
        loop {
            let state = self.state();
            if is_so(&state) {
                return state;
            }
            assert!(Instant::now() < until, "never: {what}: {state}");
            std::thread::sleep(Duration::from_millis(50));
        }
    }
    /// Asks for an act with the right token; the whole answer.
    pub fn act(&self, body: &str) -> String {
        let heads = format!("Authorization: Bearer {}\r\nContent-Type: application/json\r\n", self.act);
        self.ask("POST /act", &heads, body)
    }
    /// Is it still running?
    ///
    /// # Panics
    /// The system does not say.
    pub fn is_running(&mut self) -> bool {
        self.child.try_wait().expect("its state").is_none()
    }
    /// Ends it with a signal, as `kill` does.
    ///
    /// # Panics
    /// It is over already.
    pub fn signal(&self, signal: &str) {
        let told = Command::new("kill").args([signal, &self.child.id().to_string()]).status();
        assert!(told.expect("it runs").success());
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
