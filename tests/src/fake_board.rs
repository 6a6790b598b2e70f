//! A board at a network address that says whatever a check wants, however fast.
//!
//! Decides: nothing; every word is the check's own.
//! Assumes: one host at a time.
//! Never: judges.

use bandward::link::frame::LONGEST_FRAME;
use bandward::link::{
    BoardFaults, Counts, MOST_ALARMS, Outputs, Receiver, Refusal, Report, Request, Sender, Telemetry,
};
use bandward::rule::RuleSet;
use bandward::{Channel, Phase, Position, Quantity, SoFar};
use bandward_sim::trace::Row;
use std::io::{ErrorKind, Read as _, Write as _};
use std::net::{TcpListener, TcpStream};
use std::time::Duration;

/// What a check says with.
pub struct Voice {
    host: TcpStream,
    sender: Sender,
    receiver: Receiver,
    /// The date that it was told, seconds since 1970.
    pub utc_s: Option<u32>,
    /// The serial of the joint that it was told.
    pub serial: Option<String>,
    /// So many times more it takes no date.
    pub undated: u32,
    /// It answers greetings, and nothing else.
    pub is_deaf: bool,
    /// Nobody has greeted it since it was started anew.
    is_ungreeted: bool,
}

impl Voice {
    /// Says something; false where nobody is there any more.
    pub fn say(&mut self, report: &Report<&[u8]>) -> bool {
        let mut frame = [0; LONGEST_FRAME];
        let Some(frame) = self.sender.frame(report, &mut frame) else { return false };
        self.host.write_all(frame).is_ok()
    }
    /// It is started anew behind the line: it has forgotten what it was told, and does nothing until it is greeted.
    pub fn start_anew(&mut self) {
        self.sender = Sender::new();
        (self.utc_s, self.serial, self.is_ungreeted) = (None, None, true);
    }
    /// Says many things at once; false where nobody is there any more.
    pub fn say_all<'r>(&mut self, reports: impl Iterator<Item = Report<&'r [u8]>>) -> bool {
        let mut bytes = Vec::new();
        for report in reports {
            let mut frame = [0; LONGEST_FRAME];
            bytes.extend_from_slice(self.sender.frame(&report, &mut frame).unwrap_or_default());
        }
        self.host.write_all(&bytes).is_ok()
    }
    /// Answers greetings, and the telling of a date or a serial, for as long; returns what else was asked, by name.
    pub fn answer(&mut self, wait: Duration) -> Option<String> {
        self.host.set_read_timeout(Some(wait.max(Duration::from_millis(1)))).ok()?;
        let mut bytes = [0; 512];
        let count = match self.host.read(&mut bytes) {
            Ok(count) => count,
            Err(error) if matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut) => return None,
            Err(_) => return Some("gone".to_owned()),
        };
        let mut asked = (count == 0).then(|| "gone".to_owned());
        for &byte in &bytes[..count] {
            match self.receiver.push::<Request>(byte) {
                Some(Request::Hello) => {
                    self.is_ungreeted = false;
                    self.say(&Report::Ready { procedure_crc: 7 });
                }
                Some(_) if self.is_ungreeted => {
                    self.say(&Report::Refused(Refusal::NoSession));
                }
                Some(_) if self.is_deaf => {}
                Some(Request::SetDate { .. }) if self.undated > 0 => {
                    self.undated -= 1;
                    self.say(&Report::Refused(Refusal::NoSample));
                }
                Some(Request::SetDate { utc_s }) => {
                    self.utc_s = Some(utc_s);
                    self.say(&Report::Ready { procedure_crc: 7 });
                }
                Some(Request::NameJoint { serial }) => {
                    self.serial = Some(String::from_utf8_lossy(serial).into_owned());
                    self.say(&Report::Ready { procedure_crc: 7 });
                }
                Some(Request::ReadJournal { .. }) => asked = Some("journal".to_owned()),
                Some(Request::ReadBlackBox { .. }) => asked = Some("black box".to_owned()),
                Some(Request::ReleaseBlackBox) => asked = Some("release".to_owned()),
                _ => {}
            }
        }
        asked
    }
}

/// Starts one; `talk` is called once for every host, after its greeting and the date, or the serial before that. Returns
/// its address.
///
/// # Panics
/// There is no network on this machine.
pub fn start(talk: impl FnMut(&mut Voice) + Send + 'static) -> String {
    begin(talk, false)
}

/// The same of one that answers greetings, and nothing else until it is told to.
///
/// # Panics
/// As [`start`].
pub fn start_deaf(talk: impl FnMut(&mut Voice) + Send + 'static) -> String {
    begin(talk, true)
}

fn begin(mut talk: impl FnMut(&mut Voice) + Send + 'static, is_deaf: bool) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let address = listener.local_addr().expect("bound").to_string();
    std::thread::spawn(move || {
        for host in listener.incoming().map_while(Result::ok) {
            let (sender, receiver) = (Sender::new(), Receiver::new());
            let (utc_s, serial, undated, is_ungreeted) = (None, None, 0, false);
            let mut voice = Voice { host, sender, receiver, utc_s, serial, undated, is_deaf, is_ungreeted };
            // The greeting, and the date, which every host tells but for one with a bench test.
            voice.answer(Duration::from_secs(5));
            voice.answer(Duration::from_millis(200));
            talk(&mut voice);
        }
    });
    address
}

/// A board on which nothing happens, at this time.
pub fn telemetry(time_us: u64) -> Telemetry {
    let row = Row::at(time_us).with(Channel::Current, 300.0).with(Channel::Voltage, 31.0);
    Telemetry {
        readings: row.to_sample(),
        judged: [None; Quantity::COUNT],
        phase: Phase::Idle,
        position: Position { band: 0, turned: None },
        alarms: [None; MOST_ALARMS],
        returned: RuleSet::EMPTY,
        faults: BoardFaults::default(),
        is_bench: false,
        so_far: SoFar::default(),
        outputs: Outputs::default(),
        counts: Counts::default(),
        dropped: 0,
        black_box_frozen: false,
    }
}
