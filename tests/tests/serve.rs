//! `bandward watch --serve` as a stranger in the network finds it: who gets in, what it bears, and what it writes down.

use bandward::link::{Lamp, Outputs, Report};
use bandward::{ActiveAlarm, Rule, Severity};
use bandward_tests::fake_board::{self, telemetry};
use bandward_tests::served::Served;
use serde_json::Value;
use std::io::{Read as _, Write as _};
use std::net::{IpAddr, Shutdown, TcpStream, UdpSocket};
use std::time::{Duration, Instant};

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder")
}

/// The demo joint, played.
fn demo() -> (tempfile::TempDir, Served) {
    let folder = folder();
    let served = Served::start(folder.path(), &["--speed", "60"]);
    (folder, served)
}

fn status(answer: &str) -> u16 {
    answer.split(' ').nth(1).and_then(|code| code.parse().ok()).unwrap_or(0)
}

#[test]
fn thirty_attempts_from_outside_and_none_gets_in() {
    let (folder, mut served) = demo();
    let token = format!("Authorization: Bearer {}\r\n", served.act);
    let json = "Content-Type: application/json\r\n";
    let long = format!("X-Long: {}\r\n", "a".repeat(20_000));
    let many = "X-Many: 1\r\n".repeat(100);
    let act = r#"{"act":"acknowledge"}"#;
    let (one, both) = (format!("{token}{json}"), format!("{json}Origin: http://evil.example\r\n{token}"));
    let cross = format!("{token}{json}Sec-Fetch-Site: cross-site\r\n");
    let big = format!(r#"{{"act":"acknowledge","x":"{}"}}"#, "a".repeat(4000));
    let text = format!("{token}Content-Type: text/plain\r\n");
    // What is asked, its head and body, and the answer: none of them 200.
    let attempts: Vec<(&str, &str, &str, u16)> = vec![
        ("GET /../../etc/passwd", "", "", 404),
        ("GET /..%2f..%2fetc%2fpasswd", "", "", 404),
        ("GET /%2e%2e/style.css", "", "", 404),
        ("GET //etc/passwd", "", "", 404),
        ("GET /page-acts.jsonl", "", "", 404),
        ("GET /style.css/../page-acts.jsonl", "", "", 404),
        ("GET /index.html", "", "", 404),
        ("PUT /style.css", "", "x", 405),
        ("DELETE /act", "", "", 405),
        ("GET /act", &one, "", 405),
        ("TRACE /live", "", "", 405),
        ("POST /act", json, act, 401),
        ("POST /act", "Content-Type: application/json\r\nAuthorization: Bearer \r\n", act, 401),
        (
            "POST /act",
            "Content-Type: application/json\r\nAuthorization: Bearer 0123456789abcdef\r\n",
            act,
            401,
        ),
        ("POST /act", "Content-Type: application/json\r\nAuthorization: Basic YTpi\r\n", act, 401),
        ("POST /act", "Content-Type: application/json\r\nCookie: token=1\r\n", act, 401),
        ("POST /act", &both, act, 403),
        ("POST /act", &cross, act, 403),
        ("POST /act", &text, act, 415),
        ("POST /act", &one, r#"{"act":"upload","file":"/etc/passwd"}"#, 400),
        ("POST /act", &one, r#"{"act":"shelve","rule":"gas-low","for_s":99999999}"#, 400),
        ("POST /act", &one, "not json", 400),
        ("POST /act", &one, &big, 413),
        ("GET /live", "Origin: http://evil.example\r\n", "", 403),
        ("GET /state.json", "Sec-Fetch-Site: cross-site\r\n", "", 403),
        ("GET /state.json", "X-Forwarded-For: 127.0.0.1\r\n", "", 401),
        ("GET /metrics", "Forwarded: for=127.0.0.1\r\n", "", 401),
        ("GET /metrics", "Host: evil.example\r\n", "", 403),
        ("GET /", &long, "", 431),
        ("GET /", &many, "", 431),
    ];
    assert_eq!(attempts.len(), 30);
    for (line, heads, body, expected) in attempts {
        let answer = served.ask(line, heads, body);
        assert_eq!(status(&answer), expected, "{line}\n{heads}\n{answer}");
        assert!(!answer.contains("root:"), "{line}");
    }
    // What is no request at all.
    for bytes in [
        "GET / HTTP/1.1\r\nHost: evil.example\r\n\r\n",
        "\0\0\0\0",
        "GET / HTTP/9.9\r\n\r\n",
        "GET / HTTP/1.1\r\n\r\n",
    ] {
        assert_ne!(status(&served.ask_raw(bytes)), 200, "{bytes:?}");
    }
    assert!(served.is_running());
    assert_eq!(status(&served.ask("GET /", "", "")), 200);
    assert!(!folder.path().join("page-acts.jsonl").exists(), "nothing was done");
    // Tokens cannot be tried out: after ten wrong ones this address waits, with the right one too.
    let tried: Vec<_> =
        (0..12).map(|_| status(&served.ask("GET /state.json", "Authorization: Bearer 00\r\n", ""))).collect();
    assert!(tried.starts_with(&[401]) && tried.ends_with(&[429, 429]), "{tried:?}");
    assert_eq!(status(&served.act(act)), 429);
}

#[test]
fn every_answer_keeps_a_browser_from_doing_more_than_it_should() {
    let (_folder, served) = demo();
    for path in ["/", "/style.css", "/script.js", "/shapes.js", "/state.json", "/metrics", "/none"] {
        let answer = served.ask(&format!("GET {path}"), "", "");
        let head = answer.split("\r\n\r\n").next().unwrap_or_default().to_ascii_lowercase();
        for line in [
            "content-security-policy: default-src 'none'",
            "x-content-type-options: nosniff",
            "referrer-policy: no-referrer",
            "cache-control: no-store",
        ] {
            assert!(head.contains(line), "{path}: {line}\n{head}");
        }
        assert!(!head.contains("access-control-allow") && !head.contains("set-cookie"), "{head}");
    }
    let page = served.ask("GET /", "", "");
    assert!(!page.contains("http://") && !page.contains("https://"), "nothing from elsewhere");
    let script = served.ask("GET /script.js", "", "") + &served.ask("GET /shapes.js", "", "");
    for markup in ["innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval("] {
        assert!(!script.contains(markup), "{markup}");
    }
}

#[test]
fn from_elsewhere_a_token_is_needed_and_looking_on_is_not_acting() {
    let folder = folder();
    // All of 127.0.0.0/8 is this machine; what decides is the name it is asked by as well.
    let served = Served::at(folder.path(), "0.0.0.0:0", &["--speed", "60"]);
    let as_other = |heads: &str| {
        served.ask_raw(&format!(
            "GET /state.json HTTP/1.1\r\nHost: 192.0.2.1\r\nConnection: close\r\n{heads}\r\n"
        ))
    };
    assert_eq!(status(&as_other("")), 401);
    assert_eq!(status(&as_other(&format!("Authorization: Bearer {}\r\n", served.act))), 200);
    assert_eq!(status(&as_other("Authorization: Bearer 00\r\n")), 401);
    // By the address other machines know it by, whatever it is called.
    let Some(own) = own_address() else { return };
    let from_there = |host: &str, heads: &str| {
        let mut stream = TcpStream::connect((own, served.address.port())).expect("somebody is there");
        let asked = format!("GET /live HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n{heads}\r\n");
        stream.write_all(asked.as_bytes()).expect("asked");
        let mut answer = [0; 64];
        let count = stream.read(&mut answer).expect("an answer");
        status(&String::from_utf8_lossy(&answer[..count]))
    };
    for host in [own.to_string(), "127.0.0.1".to_owned(), "localhost".to_owned()] {
        assert_eq!(from_there(&host, ""), 401, "{host}");
        assert_eq!(from_there(&host, &format!("Authorization: Bearer {}\r\n", served.act)), 200, "{host}");
    }
}

/// The address of this machine in its network, if it is in one; nothing is sent.
fn own_address() -> Option<IpAddr> {
    let socket = UdpSocket::bind("0.0.0.0:0").ok()?;
    socket.connect("192.0.2.1:9").ok()?;
    Some(socket.local_addr().ok()?.ip()).filter(|own| !own.is_unspecified() && !own.is_loopback())
}

#[test]
fn an_act_is_done_and_written_down() {
    let (folder, served) = demo();
    let done = served.act(r#"{"act":"shelve","rule":"gas-low","for_s":60}"#);
    assert!(status(&done) == 200 && done.contains("gas-low is shelved for 60 s"), "{done}");
    assert_eq!(status(&served.act(r#"{"act":"new-joint"}"#)), 200);
    let refused = served.act(r#"{"act":"release-blackbox"}"#);
    assert!(status(&refused) == 409 && refused.contains("no black box"), "{refused}");
    let text = std::fs::read_to_string(folder.path().join("page-acts.jsonl")).expect("a log");
    let rows: Vec<Value> = text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
    let told: Vec<_> = rows.iter().map(|row| (row["act"].as_str(), row["state"].as_str())).collect();
    let both = |act, end| [(Some(act), Some("asked")), (Some(act), Some(end))];
    let expected = [both("shelve", "done"), both("new-joint", "done"), both("release-blackbox", "failed")];
    assert_eq!(told, expected.concat());
    assert!(rows.iter().all(|row| row["from"] == "127.0.0.1" && row["time"].is_string()));
    assert!(!text.contains(&served.act), "the token is not written down");
    // Where it cannot be written down it is not done.
    std::fs::remove_file(folder.path().join("page-acts.jsonl")).expect("removed");
    std::fs::create_dir(folder.path().join("page-acts.jsonl")).expect("in its place");
    let refused = served.act(r#"{"act":"new-joint"}"#);
    assert!(status(&refused) == 409 && refused.contains("not done"), "{refused}");
}

/// A board that tells a stop alarm after so long.
fn board_that_stops(after: Duration) -> String {
    fake_board::start(move |voice| {
        let started = Instant::now();
        for index in 1_u64.. {
            let mut told = telemetry(index * 200_000);
            told.outputs = Outputs { relay_energised: true, lamp: Lamp::Off, horn: false };
            if started.elapsed() > after {
                let (rule, severity) = (Rule::GasLow, Severity::Stop);
                told.alarms[0] =
                    Some(ActiveAlarm { rule, channel: None, severity, acknowledged: false, shelved: false });
            }
            if !voice.say(&Report::Telemetry(told))
                || voice.answer(Duration::from_millis(200)).as_deref() == Some("gone")
            {
                return;
            }
        }
    })
}

/// A reader of the feed.
struct Reader(TcpStream);

impl Reader {
    fn start(served: &Served) -> Self {
        let mut stream = TcpStream::connect(served.address).expect("connected");
        let asked = format!("GET /live HTTP/1.1\r\nHost: {}\r\n\r\n", served.address);
        stream.write_all(asked.as_bytes()).expect("asked");
        stream.set_read_timeout(Some(Duration::from_secs(5))).expect("a timeout");
        Self(stream)
    }
    /// Reads for so long; the states that came.
    fn states(&mut self, wait: Duration) -> Vec<Value> {
        let (until, mut bytes, mut part) = (Instant::now() + wait, Vec::new(), [0; 16_384]);
        while Instant::now() < until {
            match self.0.read(&mut part) {
                Ok(0) | Err(_) => break,
                Ok(count) => bytes.extend_from_slice(&part[..count]),
            }
        }
        let text = String::from_utf8_lossy(&bytes).into_owned();
        let events = text.lines().filter_map(|line| line.strip_prefix("data: "));
        events.filter_map(|event| serde_json::from_str(event).ok()).collect()
    }
}

#[test]
fn twenty_readers_and_some_that_never_read_do_not_slow_the_link() {
    let folder = folder();
    let address = board_that_stops(Duration::from_hours(1));
    let served = Served::start(folder.path(), &["--tcp", &address]);
    // They ask and take nothing.
    let deaf: Vec<_> = (0..20).map(|_| Reader::start(&served)).collect();
    let mut readers: Vec<_> = (0..20).map(|_| Reader::start(&served)).collect();
    let states: Vec<Vec<Value>> = std::thread::scope(|scope| {
        let reading: Vec<_> =
            readers.iter_mut().map(|one| scope.spawn(|| one.states(Duration::from_secs(3)))).collect();
        reading.into_iter().map(|one| one.join().expect("read")).collect()
    });
    for states in &states {
        // Five a second: some fewer on a busy machine, never many more.
        assert!((8..=25).contains(&states.len()), "{} states", states.len());
        let numbers: Vec<_> = states.iter().filter_map(|state| state["number"].as_u64()).collect();
        assert!(numbers.is_sorted_by(|one, next| one < next), "{numbers:?}");
    }
    // The board was heard all the time, and nothing was lost on its link.
    let last = served.state();
    assert_eq!((&last["is_old"], &last["link"]["frames_lost"]), (&false.into(), &0.into()), "{last}");
    let heard_s = last["time_s"].as_f64().expect("a time");
    assert!(heard_s > 2.0, "{heard_s}");
    let metrics = served.ask("GET /metrics", "", "");
    assert!(metrics.contains("\nbandward_page_readers 40\n"), "{metrics}");
    assert!(metrics.contains("\nbandward_up 1\n") && metrics.contains("\nbandward_link_up 1\n"), "{metrics}");
    drop((deaf, readers));
    let until = Instant::now() + Duration::from_secs(5);
    while !served.ask("GET /metrics", "", "").contains("\nbandward_page_readers 0\n") {
        assert!(Instant::now() < until, "readers that are gone are not counted");
        std::thread::sleep(Duration::from_millis(100));
    }
}

#[test]
fn an_alarm_is_sent_at_once_and_the_end_is_told() {
    let folder = folder();
    let address = board_that_stops(Duration::from_secs(1));
    let served = Served::start(folder.path(), &["--tcp", &address]);
    let mut reader = Reader::start(&served);
    let states = reader.states(Duration::from_secs(3));
    let stopped = states.iter().find(|state| state["now"]["word"] == "STOP").expect("a stop");
    assert_eq!(stopped["alarms"][0]["rule"], "gas-low");
    assert_eq!(stopped["history"][0]["severity"], "stop");
    served.signal("-TERM");
    let mut rest = String::new();
    reader.0.read_to_string(&mut rest).expect("an end");
    assert!(rest.contains("event: bye"), "{rest}");
    reader.0.shutdown(Shutdown::Both).unwrap_or_default();
}
