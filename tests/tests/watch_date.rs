//! A board that has no date is told it again, and one that was started anew is greeted.
//!
//! Decides: nothing; the board is one that says what the check has it say.
//! Assumes: a serial is of the joint that was in the machine when it was told, which may be another after a start.
//! Never: lets the host name a joint by itself.

use bandward::link::Report;
use bandward_tests::fake_board::{self, Voice, telemetry};
use bandward_tests::program;
use std::io::{BufRead as _, BufReader};
use std::process::{Command, Stdio};
use std::sync::mpsc::{Sender, channel};
use std::time::{Duration, Instant};

/// Longer than any of it takes.
const LONG: Duration = Duration::from_secs(40);

/// Tells states until it has a date; false where it was given none.
fn gets_a_date(voice: &mut Voice, from: u64) -> bool {
    let begun = Instant::now();
    let mut states = from..;
    while voice.utc_s.is_none() && begun.elapsed() < LONG {
        let at = states.next().expect("there is always one more");
        if !voice.say(&Report::Telemetry(telemetry(at * 200_000)))
            || voice.answer(Duration::from_millis(100)).as_deref() == Some("gone")
        {
            return false;
        }
    }
    voice.utc_s.is_some()
}

/// What a board tells the check: whether it got a date, and the serial that it has then.
type Told = (bool, Option<String>);

fn started_anew(voice: &mut Voice, told: &Sender<Told>) {
    let tell = |voice: &mut Voice, from| {
        let has_date = gets_a_date(voice, from);
        told.send((has_date, voice.serial.clone())).is_ok()
    };
    // The date comes after the serial.
    voice.answer(Duration::from_millis(200));
    tell(voice, 1);
    voice.start_anew();
    voice.undated = 1;
    tell(voice, 0);
    while voice.answer(Duration::from_millis(100)).as_deref() != Some("gone") {}
}

#[test]
fn a_board_that_was_started_anew_gets_the_date_again_and_no_serial() {
    let (to, told) = channel();
    let address = fake_board::start(move |voice| started_anew(voice, &to));
    let mut child = Command::new(program::path())
        .args(["watch", "--json", "--serial", "TJ-7", "--tcp", &address])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("it runs");
    let first = told.recv_timeout(LONG).expect("a link");
    assert_eq!(first, (true, Some("TJ-7".to_owned())));
    let second = told.recv_timeout(LONG).expect("a date or none");
    assert_eq!(second, (true, None));
    let ended = Command::new("kill").arg(child.id().to_string()).status();
    assert!(ended.is_ok_and(|status| status.success()));
    let lines = BufReader::new(child.stdout.take().expect("piped")).lines().map_while(Result::ok);
    let failed: Vec<_> = lines.filter(|line| line.contains("\"failed\"")).collect();
    program::ended_within(&mut child, LONG).expect("it ends");
    let has = |words: &str| failed.iter().filter(|line| line.contains(words)).count();
    assert_eq!((has("forgotten the serial TJ-7"), has("takes no date")), (1, 1), "{failed:?}");
}
