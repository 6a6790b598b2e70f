//! The live page in a real browser, against the board program on an emulated controller and against a board that says
//! what a check wants: from idle to a stop, acknowledged, to the next joint; and every way of knowing nothing.

use bandward::link::{Lamp, Outputs, Report};
use bandward::{ActiveAlarm, Rule, Severity};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::link::recording::write_trace;
use bandward_sim::process::scenario::Scenario;
use bandward_sim::process::targets::Targets;
use bandward_sim::trace::Row;
use bandward_tests::browser::Browser;
use bandward_tests::driven::{Driven, Page};
use bandward_tests::emulator::{CORTEX_M4, Running, build, skip};
use bandward_tests::fake_board::{self, telemetry};
use bandward_tests::line::Line;
use bandward_tests::served::Served;
use serde_json::Value;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

const PROCEDURE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/data/procedures/quick-joint.toml");

fn text(browser: &mut Driven, page: &Page, id: &str) -> String {
    let told = browser.value(page, &format!("document.getElementById('{id}').innerText"));
    told.as_str().unwrap_or_default().to_owned()
}

fn word_is(word: &str) -> String {
    format!("document.getElementById('word').innerText === '{word}'")
}

/// Nothing on the page is of now, and it cannot be taken for "within": another frame, another shape, no value.
fn shows_that_nothing_is_known(browser: &mut Driven, page: &Page) {
    let told = browser.value(
        page,
        "({ known: document.body.dataset.known, shape: document.getElementById('shape').dataset.tone,
            where: document.getElementById('where').innerText, active: document.getElementById('active').innerText,
            values: [...document.querySelectorAll('.shown')].map((one) => one.innerText),
            border: getComputedStyle(document.getElementById('now')).borderTopWidth })",
    );
    assert_eq!((&told["known"], &told["shape"]), (&"no".into(), &"none".into()), "{told}");
    assert_eq!((&told["where"], &told["active"]), (&"-".into(), &"alarms: not known".into()), "{told}");
    assert!(told["values"].as_array().expect("a list").iter().all(|value| value == "-"), "{told}");
    assert_ne!(told["border"], "0px", "{told}");
}

/// A joint with a fault, and a minute of a machine at rest before it.
fn make_trace(path: &Path) {
    const REST_US: u64 = 60_000_000;
    let file = ProcedureFile::read(Path::new(PROCEDURE)).expect("a procedure");
    let good = Scenario::good(Targets::of_file(&file), 10.0).with_seed(77);
    let scenario = good.with_default_fault(Rule::PolarityWrong, 77).expect("a fault is made for the rule");
    let rows: Vec<_> = scenario.rows().collect();
    let period_us = rows[1].time_us - rows[0].time_us;
    let rest = REST_US / period_us;
    let later = |mut row: Row, periods: u64| {
        row.time_us += periods * period_us;
        row
    };
    let resting = (0..rest).map(|at| later(rows[0], at));
    let welded = rows.iter().map(|row| later(*row, rest));
    let samples: Vec<_> = resting.chain(welded).map(|row| row.to_sample()).collect();
    write_trace(path, &samples).expect("written");
}

#[test]
fn a_joint_on_an_emulated_board_is_followed_through_stop_and_cut() {
    const NAME: &str = "a_joint_on_an_emulated_board_is_followed_through_stop_and_cut";
    let Some(chromium) = Browser::find(NAME) else { return };
    let started = build(CORTEX_M4, "board", &[]).and_then(|program| Running::start(CORTEX_M4, &program));
    let board = match started {
        Ok(board) => board,
        Err(missing) => return skip(NAME, &missing),
    };
    let (folder, line) = (tempfile::tempdir().expect("a folder"), Line::shut(&board));
    let trace = folder.path().join("joint.csv");
    make_trace(&trace);
    let mut browser = Driven::start(chromium.program());
    let trace = trace.to_str().expect("text");
    let served = Served::start(
        folder.path(),
        &["--tcp", &line.address, "--upload", PROCEDURE, trace, "--speed", "20"],
    );
    let page = browser.open(&format!("{}#act={}", served.url(), served.act), 1024, 768, false);
    browser.wait_for(&page, "document.getElementById('words').innerText.includes('told nothing yet')");
    line.open();
    browser.wait_for(&page, &word_is("WAITING"));
    assert_eq!(browser.value(&page, "location.hash"), "", "the token has left the address");
    browser.wait_for(&page, &word_is("STOP"));
    browser.wait_for(&page, "document.querySelector('#active .severity.stop')");
    let active = text(&mut browser, &page, "active");
    assert!(active.contains("wrong polarity"), "{active}");
    browser.value(&page, "document.getElementById('acknowledge').click()");
    browser.wait_for(&page, "document.getElementById('told').innerText === 'all alarms acknowledged'");
    browser.wait_for(
        &page,
        "document.getElementById('active').innerText.includes('acknowledged: ') || document.querySelector('#before .stop')",
    );
    browser.value(&page, "document.getElementById('new-joint').click()");
    browser.wait_for(&page, "document.getElementById('ask').open");
    browser.value(&page, "document.getElementById('ask-yes').click()");
    browser.wait_for(&page, "document.getElementById('told').innerText.startsWith('a new joint begins')");
    browser.wait_for(&page, "document.querySelector('#before .stop')");
    let log = std::fs::read_to_string(folder.path().join("page-acts.jsonl")).expect("a log");
    assert_eq!(log.lines().count(), 4, "{log}");

    line.cut();
    browser.wait_for(&page, &word_is("NO LINK"));
    shows_that_nothing_is_known(&mut browser, &page);
    served.signal("-KILL");
    browser.wait_for(
        &page,
        "document.getElementById('words').innerText.includes('the program cannot be reached')",
    );
    assert_eq!(text(&mut browser, &page, "word"), "NO DATA");
    shows_that_nothing_is_known(&mut browser, &page);
}

/// A board that stops, and hangs up once, when it is told to.
fn board(is_stopped: &Arc<AtomicBool>, is_cut: &Arc<AtomicBool>) -> String {
    let (is_stopped, is_cut) = (is_stopped.clone(), is_cut.clone());
    fake_board::start(move |voice| {
        for index in 1_u64.. {
            let mut told = telemetry(index * 20_000);
            told.outputs = Outputs { relay_energised: true, lamp: Lamp::Off, horn: false };
            if is_stopped.load(Ordering::Relaxed) {
                let (rule, severity) = (Rule::GasLow, Severity::Stop);
                told.alarms[0] =
                    Some(ActiveAlarm { rule, channel: None, severity, acknowledged: false, shelved: false });
            }
            let is_gone = !voice.say(&Report::Telemetry(told))
                || voice.answer(Duration::from_millis(20)).as_deref() == Some("gone");
            if is_gone || is_cut.swap(false, Ordering::Relaxed) {
                return;
            }
        }
    })
}

/// The time of day at which the browser had drawn a word, ms.
const DRAWN_AT: &str = "new Promise((done) => {
    const look = () => document.getElementById('word').innerText === 'STOP'
        ? requestAnimationFrame(() => setTimeout(() => done(performance.timeOrigin + performance.now())))
        : requestAnimationFrame(look);
    look();
})";

#[test]
fn an_event_is_on_the_screen_soon_and_a_stuck_page_covers_itself() {
    let Some(chromium) = Browser::find("an_event_is_on_the_screen_soon_and_a_stuck_page_covers_itself")
    else {
        return;
    };
    let folder = tempfile::tempdir().expect("a folder");
    let (is_stopped, is_cut): (Arc<AtomicBool>, Arc<AtomicBool>) = (Arc::default(), Arc::default());
    let served = Served::start(folder.path(), &["--tcp", &board(&is_stopped, &is_cut)]);
    let mut browser = Driven::start(chromium.program());
    let begun = Instant::now();
    let page = browser.open(&served.url(), 390, 844, true);
    browser.wait_for(&page, &word_is("WAITING"));
    println!("page loaded and live after {:.2} s", begun.elapsed().as_secs_f64());
    // Without a token for acting nothing is done, and it is said how to get one.
    browser.value(&page, "document.getElementById('acknowledge').click()");
    browser.wait_for(&page, "document.getElementById('ask').open");
    browser.value(&page, "document.getElementById('ask-token').value = 'abcdef0123456789'");
    browser.value(&page, "document.getElementById('ask-yes').click()");
    browser.wait_for(&page, "document.getElementById('told').innerText.startsWith('refused')");
    assert!(!folder.path().join("page-acts.jsonl").exists());

    let flag = is_stopped.clone();
    let stopping = std::thread::spawn(move || {
        std::thread::sleep(Duration::from_millis(300));
        flag.store(true, Ordering::Relaxed);
        std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).expect("a clock").as_secs_f64()
            * 1e3
    });
    let drawn_ms = browser.value(&page, DRAWN_AT).as_f64().expect("a time");
    let latency_ms = drawn_ms - stopping.join().expect("it ran");
    println!("event at the board to pixels: {latency_ms:.0} ms");
    assert!((0.0..1500.0).contains(&latency_ms), "{latency_ms}");
    everything_fits_and_can_be_read(&mut browser, &page);

    // A link that is lost, and comes back by itself.
    is_cut.store(true, Ordering::Relaxed);
    browser.wait_for(&page, &word_is("NO LINK"));
    shows_that_nothing_is_known(&mut browser, &page);
    browser.wait_for(&page, &word_is("STOP"));
    // What is late, and a tab that slept.
    browser.value(&page, "offset -= 5000; 1");
    browser.wait_for(&page, &word_is("LATE"));
    shows_that_nothing_is_known(&mut browser, &page);
    browser.value(&page, "offset = null; 1");
    browser.wait_for(&page, &word_is("STOP"));
    let hide = |is_hidden: bool| {
        format!(
            "Object.defineProperty(document, 'hidden', {{ value: {is_hidden}, configurable: true }});
             document.dispatchEvent(new Event('visibilitychange')); 1"
        )
    };
    browser.value(&page, &hide(true));
    assert_eq!(text(&mut browser, &page, "word"), "ASLEEP");
    shows_that_nothing_is_known(&mut browser, &page);
    browser.value(&page, &hide(false));
    browser.wait_for(&page, &word_is("STOP"));
    // A script that does nothing any more, as one that is stuck.
    browser.value(&page, "take = () => {}; look = () => {}; alive = () => {}; 1");
    let opacity = "getComputedStyle(document.getElementById('dead')).opacity";
    browser.wait_for(&page, &format!("{opacity} === '1'"));
}

/// The tokens are new at each start: a page with an old one goes on where none is needed, and takes a new one at once.
#[test]
fn a_page_with_a_token_of_an_earlier_run_goes_on_and_takes_a_new_one() {
    const NAME: &str = "a_page_with_a_token_of_an_earlier_run_goes_on_and_takes_a_new_one";
    let Some(chromium) = Browser::find(NAME) else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let mut browser = Driven::start(chromium.program());
    let first = Served::start(folder.path(), &[]);
    let page = browser.open(&format!("{}#act={}", first.url(), first.act), 1024, 768, false);
    browser.wait_for(&page, "document.body.dataset.known === 'yes' && mayAct");
    let address = first.address.to_string();
    first.signal("-TERM");
    browser.wait_for(&page, "document.body.dataset.known === 'no'");
    drop(first);
    let second = Served::at(folder.path(), &address, &[]);
    browser.wait_for(&page, "document.body.dataset.known === 'yes' && !mayAct");
    assert_eq!(browser.value(&page, "sessionStorage.getItem('bandward-token')"), Value::Null);
    assert_eq!(browser.value(&page, "document.getElementById('ask').open"), false);
    browser.value(&page, &format!("location.hash = '#act={}'; 1", second.act));
    browser.wait_for(&page, "document.body.dataset.known === 'yes' && mayAct && location.hash === ''");
    browser.value(&page, "document.getElementById('acknowledge').click()");
    browser.wait_for(&page, "document.getElementById('told').innerText === 'all alarms acknowledged'");
    // One that is typed and refused is forgotten; the one before stays.
    browser.value(&page, "mayAct = false; document.getElementById('acknowledge').click()");
    browser.wait_for(&page, "document.getElementById('ask').open");
    browser.value(&page, "document.getElementById('ask-token').value = 'abcdef0123456789'");
    browser.value(&page, "document.getElementById('ask-yes').click()");
    browser.wait_for(&page, "document.getElementById('told').innerText.startsWith('refused')");
    assert_eq!(browser.value(&page, "token"), second.act.as_str());
}

/// In every size and in light and dark: nothing beyond the edge, names for all that can be pressed, and text against its
/// background at 4.5 to 1 at least (WCAG 2.2, success criterion 1.4.3).
fn everything_fits_and_can_be_read(browser: &mut Driven, page: &Page) {
    for (width, height, is_dark) in
        [(390, 844, false), (390, 844, true), (1024, 768, true), (1920, 1080, false)]
    {
        browser.size(page, width, height, is_dark);
        let found = browser.value(page, CHECKS);
        assert_eq!(found, Value::Array(Vec::new()), "{width} x {height}, dark {is_dark}");
        let letters =
            browser.value(page, "parseFloat(getComputedStyle(document.getElementById('word')).fontSize)");
        assert!(letters.as_f64() >= Some(45.0), "{letters}");
    }
}

const CHECKS: &str = r"(() => {
    const found = [], root = document.documentElement;
    if (root.scrollWidth > root.clientWidth) found.push(`wider than the window: ${root.scrollWidth}`);
    const parse = (colour) => (colour.match(/[\d.]+/g) ?? []).map(Number);
    const channel = (value) => { const part = value / 255; return part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4; };
    const light = ([r, g, b]) => 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
    const behind = (element) => {
        for (let at = element; at; at = at.parentElement) {
            const colour = parse(getComputedStyle(at).backgroundColor);
            if (colour.length === 3 || colour[3] > 0) return colour;
        }
        return [255, 255, 255];
    };
    for (const element of document.querySelectorAll('main *, footer *')) {
        const own = [...element.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim());
        if (!own || element.closest('svg') || !element.getClientRects().length || element.disabled) continue;
        const [one, other] = [light(parse(getComputedStyle(element).color)), light(behind(element))];
        const ratio = (Math.max(one, other) + 0.05) / (Math.min(one, other) + 0.05);
        if (ratio < 4.5) found.push(`${element.id || element.className}: ${ratio.toFixed(2)} ${element.textContent.slice(0, 20)}`);
    }
    for (const button of document.querySelectorAll('button')) {
        if (!button.textContent.trim()) found.push('a button without a name');
        const box = button.getBoundingClientRect();
        if (box.height && box.height < 24) found.push(`a button of ${box.height}`);
    }
    for (const section of document.querySelectorAll('section')) {
        if (!section.getAttribute('aria-label')) found.push('a section without a name');
    }
    if (!document.documentElement.lang || !document.title) found.push('no language or title');
    return found;
})()";
