//! An MQTT broker of somebody else, mosquitto, and its own client that listens.
//!
//! Decides: nothing.
//! Assumes: both are installed: Debian packages `mosquitto` and `mosquitto-clients`.
//! Never: waits without an end.

use serde_json::Value;
use std::fs::File;
use std::io::{BufRead as _, BufReader};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};
use tempfile::TempDir;

const PATIENCE: Duration = Duration::from_secs(30);

/// A broker at a free port of this machine.
pub struct Broker {
    folder: TempDir,
    /// Its port, also after it was started again.
    pub port: u16,
    child: Option<Child>,
}

/// A message as the outside client has it.
#[derive(Clone, Debug)]
pub struct Heard {
    /// Topic.
    pub topic: String,
    /// Was it kept by the broker from before?
    pub is_retained: bool,
    /// Quality of service.
    pub qos: u8,
    /// The text.
    pub text: Value,
}

impl Broker {
    /// Starts one; `more` are lines of its configuration, where `FOLDER` stands for its folder, `files` what is put
    /// there before. Where there is no mosquitto, `check` is skipped by name.
    ///
    /// # Panics
    /// There is none and this runs under continuous integration, or it does not start.
    pub fn start(check: &str, more: &str, files: impl FnOnce(&Path)) -> Option<Self> {
        let is_there = ["mosquitto", "mosquitto_sub"].iter().all(|name| {
            Command::new(name).arg("--help").stdout(Stdio::null()).stderr(Stdio::null()).status().is_ok()
        });
        if !is_there {
            assert!(
                std::env::var("CI").as_deref() != Ok("true"),
                "{check} needs mosquitto and mosquitto-clients"
            );
            eprintln!(
                "skipped: {check}: mosquitto is not installed (apt-get install mosquitto mosquitto-clients)"
            );
            return None;
        }
        let folder = tempfile::tempdir().expect("a folder");
        files(folder.path());
        let port =
            TcpListener::bind("127.0.0.1:0").and_then(|free| free.local_addr()).expect("a free port").port();
        let place = folder.path().display().to_string();
        let anonymous = if more.contains("password_file") { "false" } else { "true" };
        // As root it would become a user that cannot read the folder.
        let lines = format!(
            "user root\nlistener {port} 127.0.0.1\nallow_anonymous {anonymous}\npersistence true\n\
             persistence_location {place}/\nlog_dest file {place}/log\nlog_type all\n{}\n",
            more.replace("FOLDER", &place)
        );
        std::fs::write(folder.path().join("broker.conf"), lines).expect("written");
        let mut broker = Self { folder, port, child: None };
        broker.go_on();
        Some(broker)
    }
    /// Starts it again at the same port.
    ///
    /// # Panics
    /// It does not start.
    pub fn go_on(&mut self) {
        let said = File::create(self.folder.path().join("said")).expect("a file");
        let child = Command::new("mosquitto")
            .arg("-c")
            .arg(self.folder.path().join("broker.conf"))
            .stdout(Stdio::null())
            .stderr(said)
            .spawn()
            .expect("mosquitto starts");
        self.child = Some(child);
        let until = Instant::now() + PATIENCE;
        while TcpStream::connect(("127.0.0.1", self.port)).is_err() {
            let said = std::fs::read_to_string(self.folder.path().join("said")).unwrap_or_default();
            assert!(Instant::now() < until, "mosquitto does not listen: {said}\n{}", self.log());
            std::thread::sleep(Duration::from_millis(20));
        }
    }
    /// Ends it; what it keeps it writes down.
    ///
    /// # Panics
    /// It is over already.
    pub fn cut(&mut self) {
        self.signal("-TERM");
        if let Some(mut child) = self.child.take() {
            child.wait().expect("its end");
        }
    }
    /// Sends it a signal, as `kill` does.
    ///
    /// # Panics
    /// It is over already.
    pub fn signal(&self, signal: &str) {
        let id = self.child.as_ref().expect("it runs").id().to_string();
        assert!(Command::new("kill").args([signal, &id]).status().expect("it runs").success());
    }
    /// What it wrote down of who did what.
    pub fn log(&self) -> String {
        std::fs::read_to_string(self.folder.path().join("log")).unwrap_or_default()
    }
    /// A file beside it.
    pub fn file(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }
    /// Where `bandward` publishes to it.
    pub fn url(&self) -> String {
        format!("mqtt://127.0.0.1:{}/shop/machine-2", self.port)
    }
    /// What is kept at a topic.
    ///
    /// # Panics
    /// Nothing comes for too long.
    pub fn kept(&self, topic: &str) -> Value {
        let told = self
            .client("mosquitto_sub")
            .args(["-C", "1", "-W", "20", "-t", topic])
            .output()
            .expect("it runs");
        let text = String::from_utf8_lossy(&told.stdout).into_owned();
        serde_json::from_str(&text).unwrap_or_else(|_| panic!("nothing at {topic}: {text}"))
    }
    /// Waits until what is kept at a topic is as it should be.
    ///
    /// # Panics
    /// It is not for too long.
    pub fn wait_for_kept(&self, topic: &str, is_so: impl Fn(&Value) -> bool) -> Value {
        let until = Instant::now() + PATIENCE;
        loop {
            let kept = self.kept(topic);
            if is_so(&kept) {
                return kept;
            }
            assert!(Instant::now() < until, "never: {kept}");
            std::thread::sleep(Duration::from_millis(100));
        }
    }
    /// A client of its own kind at its port.
    pub fn client(&self, program: &str) -> Command {
        let mut client = Command::new(program);
        client.args(["-h", "127.0.0.1", "-p", &self.port.to_string()]);
        client
    }
    /// Listens to everything from now on, also over a cut.
    pub fn listen(&self) -> Listener {
        Listener::start(self.client("mosquitto_sub"), self)
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        if let Some(child) = &mut self.child {
            // It may have ended by itself.
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

/// The outside client.
pub struct Listener {
    child: Child,
    heard: Arc<Mutex<Vec<Heard>>>,
}

impl Listener {
    /// Starts it with more arguments; it counts as started once the broker has its subscription.
    ///
    /// # Panics
    /// It does not start.
    pub fn start(mut client: Command, broker: &Broker) -> Self {
        let mut child = client
            .args(["-t", "#", "-q", "1", "-c", "-i", "listener", "-F", "%t|%r|%q|%p"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("mosquitto_sub starts");
        let output = child.stdout.take().expect("piped");
        let heard = Arc::new(Mutex::new(Vec::new()));
        let to = heard.clone();
        std::thread::spawn(move || {
            for line in BufReader::new(output).lines().map_while(Result::ok) {
                let mut parts = line.splitn(4, '|');
                let mut part = || parts.next().unwrap_or_default().to_owned();
                let (topic, retained, qos, text) = (part(), part(), part(), part());
                let text = serde_json::from_str(&text).unwrap_or_default();
                let qos = qos.parse().unwrap_or(9);
                let one = Heard { topic, is_retained: retained == "1", qos, text };
                to.lock().unwrap_or_else(PoisonError::into_inner).push(one);
            }
        });
        let until = Instant::now() + PATIENCE;
        while !broker.log().contains("SUBACK to listener") {
            assert!(Instant::now() < until, "nobody listens: {}", broker.log());
            std::thread::sleep(Duration::from_millis(20));
        }
        Self { child, heard }
    }
    /// What was heard so far.
    pub fn heard(&self) -> Vec<Heard> {
        self.heard.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
    /// Waits until it is so of what was heard.
    ///
    /// # Panics
    /// It is not for too long.
    pub fn wait_for(&self, is_so: impl Fn(&[Heard]) -> bool) -> Vec<Heard> {
        let until = Instant::now() + PATIENCE;
        loop {
            let heard = self.heard();
            if is_so(&heard) {
                return heard;
            }
            assert!(Instant::now() < until, "never, of {} messages: {:?}", heard.len(), heard.last());
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}

impl Drop for Listener {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
