//! Whom the live page reaches: those who see little, those who only hear it, and those who stand far away.

use bandward::link::{Lamp, Outputs, Report};
use bandward::{ActiveAlarm, Rule, Severity};
use bandward_tests::axe::Axe;
use bandward_tests::browser::Browser;
use bandward_tests::driven::{Driven, Page};
use bandward_tests::fake_board::{self, telemetry};
use bandward_tests::program;
use bandward_tests::served::Served;
use std::sync::Arc;
use std::sync::atomic::{AtomicU8, Ordering};
use std::time::Duration;

/// What the board says: nothing to tell, a warning, a stop, nothing at all.
const CALM: u8 = 0;
const WARNS: u8 = 1;
const STOPS: u8 = 2;
const SILENT: u8 = 3;

fn board(mood: &Arc<AtomicU8>) -> String {
    let mood = mood.clone();
    fake_board::start(move |voice| {
        for index in 1_u64.. {
            let now = mood.load(Ordering::Relaxed);
            let mut told = telemetry(index * 20_000);
            told.outputs = Outputs { relay_energised: true, lamp: Lamp::Off, horn: false };
            let severity = if now == STOPS { Severity::Stop } else { Severity::Warn };
            let alarm =
                |rule| ActiveAlarm { rule, channel: None, severity, acknowledged: false, shelved: false };
            if [WARNS, STOPS].contains(&now) {
                told.alarms[0] = Some(alarm(Rule::GasLow));
                told.alarms[1] = Some(ActiveAlarm { severity: Severity::Advise, ..alarm(Rule::VoltageLow) });
            }
            let is_gone = now != SILENT && !voice.say(&Report::Telemetry(told));
            if is_gone || voice.answer(Duration::from_millis(20)).as_deref() == Some("gone") {
                return;
            }
        }
    })
}

fn word_is(word: &str) -> String {
    format!("document.getElementById('word').innerText === '{word}'")
}

/// In light on a wall, in dark on a phone.
fn faults(axe: &Axe, browser: &mut Driven, page: &Page, when: &str) -> Vec<String> {
    let mut all = Vec::new();
    for (width, height, is_dark) in [(1920, 1080, false), (390, 844, true)] {
        browser.size(page, width, height, is_dark);
        // What moves has to have come to rest.
        std::thread::sleep(Duration::from_millis(400));
        all.extend(axe.faults(browser, page, &format!("{when}, dark {is_dark}")));
    }
    all
}

#[test]
fn nothing_serious_keeps_anybody_from_the_page_in_any_state() {
    const NAME: &str = "nothing_serious_keeps_anybody_from_the_page_in_any_state";
    let (Some(chromium), Some(axe)) = (Browser::find(NAME), Axe::find(NAME)) else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let mood = Arc::new(AtomicU8::new(CALM));
    let served = Served::start(folder.path(), &["--tcp", &board(&mood)]);
    let mut browser = Driven::start(chromium.program());
    let page = browser.open(&served.url(), 1920, 1080, false);
    let mut all = Vec::new();
    for (now, word) in [(CALM, "WAITING"), (WARNS, "WARN"), (STOPS, "STOP"), (SILENT, "NO DATA")] {
        mood.store(now, Ordering::Relaxed);
        browser.wait_for(&page, &word_is(word));
        all.extend(faults(&axe, &mut browser, &page, word));
    }
    // It would be found: pale text, as this page once had it here, and a picture without words.
    let spoil =
        "document.getElementById('values').style.opacity = 0.35; document.body.append(new Image()); 1";
    browser.value(&page, spoil);
    let found = axe.faults(&mut browser, &page, "spoilt").join("\n");
    assert!(found.contains("color-contrast") && found.contains("image-alt"), "{found}");
    browser.value(&page, "document.getElementById('values').style = ''; document.body.lastChild.remove(); 1");
    // What is cleared stays in its list, which is longer than its place.
    mood.store(CALM, Ordering::Relaxed);
    browser.wait_for(&page, "document.querySelector('#before .stop')");
    all.extend(faults(&axe, &mut browser, &page, "cleared"));
    println!("not decided by axe-core: {}", Axe::undecided(&mut browser, &page));
    browser.value(&page, "document.getElementById('acknowledge').click()");
    browser.wait_for(&page, "document.getElementById('ask').open");
    all.extend(faults(&axe, &mut browser, &page, "asking"));
    browser.value(&page, "document.getElementById('ask-no').click()");
    served.signal("-KILL");
    browser.wait_for(&page, "document.getElementById('words').innerText.includes('cannot be reached')");
    all.extend(faults(&axe, &mut browser, &page, "lost"));
    assert!(all.is_empty(), "{}", all.join("\n"));
}

/// The demo joint (invented) with values, bands and an alarm.
#[test]
fn nothing_serious_keeps_anybody_from_a_joint_or_its_report() {
    const NAME: &str = "nothing_serious_keeps_anybody_from_a_joint_or_its_report";
    let (Some(chromium), Some(axe)) = (Browser::find(NAME), Axe::find(NAME)) else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let served = Served::start(folder.path(), &["--speed", "30"]);
    let mut browser = Driven::start(chromium.program());
    let page = browser.open(&served.url(), 1920, 1080, false);
    browser
        .wait_for(&page, "document.querySelector('#gauges .gauge') && document.querySelector('#bands svg')");
    let mut all = faults(&axe, &mut browser, &page, "welding");
    browser.wait_for(&page, "document.querySelector('#before .severity')");
    all.extend(faults(&axe, &mut browser, &page, "with an alarm"));
    let demo = |name: &str| format!("{}/../sim/demo/{name}", env!("CARGO_MANIFEST_DIR"));
    program::run_in(folder.path(), &["synth", &demo("find-the-fault.toml"), "-o", "joint.csv"]);
    let procedure = demo("procedure.toml");
    let replay = ["replay", "--procedure", &procedure, "joint.csv", "--report", "joint.html"];
    let replayed = program::run_in(folder.path(), &replay);
    assert!(folder.path().join("joint.html").exists(), "{}", String::from_utf8_lossy(&replayed.stderr));
    let report = format!("file://{}", folder.path().join("joint.html").display());
    let page = browser.open(&report, 1920, 1080, false);
    browser.wait_for(&page, "document.querySelector('.verdict')");
    all.extend(faults(&axe, &mut browser, &page, "report"));
    assert!(all.is_empty(), "{}", all.join("\n"));
}

/// From 3 m a letter is read easily at 20 minutes of arc (ISO 9241-303, preferred height, from memory): 17.5 mm. A
/// screen of 24 inches, 16 to 9, is 531 mm wide: 0.277 mm a dot at 1920 dots. A browser that shows a quarter of its
/// size makes everything four times smaller, but for what is to be read from afar.
#[test]
fn the_verdict_is_read_from_three_metres_at_a_quarter_of_the_size() {
    const NAME: &str = "the_verdict_is_read_from_three_metres_at_a_quarter_of_the_size";
    let Some(chromium) = Browser::find(NAME) else { return };
    let needed_mm = 3000.0 * (20.0_f64 / 60.0).to_radians().tan();
    let dot_mm = 24.0 * 25.4 * 16.0 / 16.0_f64.hypot(9.0) / 1920.0;
    let folder = tempfile::tempdir().expect("a folder");
    let served = Served::start(folder.path(), &["--speed", "60"]);
    let mut browser = Driven::start(chromium.program());
    let page = browser.open(&served.url(), 1920, 1080, false);
    browser.wait_for(&page, "document.body.dataset.known === 'yes'");
    for zoom in [1.0, 0.5, 0.25] {
        browser.zoomed(&page, 1920, 1080, zoom, false);
        for word in ["STOP", "IN RANGE", "NOT JUDGED"] {
            let told = browser.value(&page, &LETTERS.replace("WORD", word));
            let [capital_px, width_px, room_px] =
                ["capital", "width", "room"].map(|name| told[name].as_f64().expect("a length"));
            let height_mm = capital_px * zoom * dot_mm;
            println!("zoom {zoom}: {word} is {height_mm:.1} mm high, {needed_mm:.1} mm are needed");
            assert!(height_mm >= needed_mm, "{word} at {zoom}: {height_mm} mm, {needed_mm} needed");
            assert!(width_px <= room_px, "{word} at {zoom}: {width_px} of {room_px}");
        }
    }
}

/// Height of a capital letter of the verdict, its width, and the room it has, in the page's own units.
const LETTERS: &str = "(() => {
    const element = document.getElementById('word').cloneNode();
    element.textContent = 'WORD';
    element.style.setProperty('--letters', 'WORD'.length);
    element.style.whiteSpace = 'nowrap';
    element.style.width = 'max-content';
    document.getElementById('said').prepend(element);
    const style = getComputedStyle(element), canvas = document.createElement('canvas').getContext('2d');
    canvas.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
    const told = { capital: canvas.measureText('H').actualBoundingBoxAscent,
        width: element.getBoundingClientRect().width,
        room: document.getElementById('said').getBoundingClientRect().width };
    element.remove();
    return told;
})()";
