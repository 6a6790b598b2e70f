//! The page and the picture of a replay: complete, safe, readable, and alive in a browser.

use bandward::{Channel, Rule};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::input::quantity::UnitSystem;
use bandward_sim::process::{Scenario, Targets};
use bandward_sim::recording::{Recorder, Recording};
use bandward_sim::replay::{Replay, Replayer};
use bandward_sim::report::{Report, page, picture};
use bandward_sim::trace::{Provenance, Row, TraceHeader};
use bandward_tests::browser::Browser;
use bandward_tests::made::{header, quick_procedure};
use bandward_tests::program;
use base64::Engine as _;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Command;

struct Made {
    file: ProcedureFile,
    replay: Replay,
    recording: Recording,
    provenance: Provenance,
}

impl Made {
    fn report(&self) -> Report<'_> {
        Report {
            replay: &self.replay,
            recording: &self.recording,
            procedure: Some(&self.file),
            setup: None,
            provenance: Some(&self.provenance),
            system: UnitSystem::Metric,
        }
    }
    fn page(&self) -> String {
        page::page(&self.report())
    }
}

fn made(path: &str, scenario: &Scenario, change: impl Fn(u64, &mut Row)) -> Made {
    let file = quick_procedure();
    let header = TraceHeader { path: path.to_owned(), ..header(scenario) };
    let mut replayer = Replayer::new(&file.procedure, &header);
    let mut recorder = Recorder::new(&header);
    for (index, mut row) in (0..).zip(scenario.rows()) {
        change(index, &mut row);
        replayer.step(&row);
        recorder.take(&row, replayer.monitor());
    }
    let recording = recorder.finish().expect("there were rows");
    let provenance = Provenance { sha256: "0123456789abcdef".to_owned(), bytes: 16, changed: None };
    Made { file, replay: replayer.finish(), recording, provenance }
}

/// An invented joint with gas lost in one place and a slip in another.
fn faulty() -> Made {
    let targets = Targets::of_file(&quick_procedure());
    let scenario = Scenario::good(targets, 50.0)
        .with_default_fault(Rule::GasLow, 3)
        .and_then(|scenario| scenario.with_default_fault(Rule::SpindleSlip, 5))
        .expect("a fault is made for both rules");
    made("invented joint.csv", &scenario, |_, _| {})
}

fn saved(page: &str) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("page.html");
    std::fs::write(&path, page).expect("the page can be written");
    (folder, path)
}

/// What stands between two texts, the first time.
fn between<'a>(text: &'a str, before: &str, after: &str) -> &'a str {
    let start = text.find(before).unwrap_or_else(|| panic!("no `{before}`")) + before.len();
    &text[start..start + text[start..].find(after).unwrap_or_else(|| panic!("no `{after}`"))]
}

fn shown(document: &str) -> &str {
    between(document, "<output id=\"view\" aria-live=\"polite\">", "</output>")
}

/// The outline of the judged gas flow.
fn gas_outline(document: &str) -> &str {
    between(between(document, "data-key=\"gas\"", "</svg>"), "class=\"judged\" d=\"", "\"")
}

#[test]
fn the_page_loads_and_a_link_to_a_stretch_zooms_there() {
    let Some(browser) = Browser::find("the_page_loads_and_a_link_to_a_stretch_zooms_there") else { return };
    let text = faulty().page();
    let (_folder, path) = saved(&text);
    let whole = browser.load(&path, "");
    assert_eq!(whole.console, [""; 0]);
    assert_eq!(shown(&whole.document), shown(&text));
    // What the script draws of the whole is what was drawn without it, to the rounding of its steps.
    assert_eq!(gas_outline(&whole.document).matches('L').count(), gas_outline(&text).matches('L').count());
    let zoomed = browser.load(&path, "#t=12.5-20");
    assert_eq!(zoomed.console, [""; 0]);
    assert_eq!(shown(&zoomed.document), "12.50 s to 20.00 s");
    assert_ne!(gas_outline(&zoomed.document), gas_outline(&whole.document));
}

#[test]
fn buttons_keys_and_dragging_zoom() {
    let Some(browser) = Browser::find("buttons_keys_and_dragging_zoom") else { return };
    let text = faulty().page();
    let length_s: f64 = between(shown(&text), "to ", " s").parse().expect("a number");
    for (deed, from, to) in [
        ("document.querySelector('[data-action=in]').click()", 0.25, 0.75),
        (
            "document.getElementById('panels').dispatchEvent(new KeyboardEvent('keydown', {key: '+'}))",
            0.25,
            0.75,
        ),
        (
            "const plot = document.querySelector('.panel .plot'), box = plot.getBoundingClientRect();\
             plot.setPointerCapture = () => {};\
             const at = (name, share) => plot.dispatchEvent(new PointerEvent(name,\
               {clientX: box.left + share * box.width, pointerId: 1, bubbles: true}));\
             at('pointerdown', 0.2); at('pointermove', 0.5); at('pointerup', 0.6)",
            0.2,
            0.6,
        ),
    ] {
        let page = text.replace("</body>", &format!("<script>{deed}</script></body>"));
        let (_folder, path) = saved(&page);
        let loaded = browser.load(&path, "");
        assert_eq!(loaded.console, [""; 0], "{deed}");
        let (low, high) = shown(&loaded.document).split_once(" to ").expect("a stretch");
        let number = |text: &str| text.trim_end_matches(" s").parse::<f64>().expect("a number");
        let slack_s = 0.005 * length_s;
        assert!((number(low) - from * length_s).abs() < slack_s, "{deed}: from {low} of {length_s}");
        assert!((number(high) - to * length_s).abs() < slack_s, "{deed}: to {high} of {length_s}");
    }
}

#[test]
fn pointing_reads_the_values_out() {
    let Some(browser) = Browser::find("pointing_reads_the_values_out") else { return };
    let made = faulty();
    let band = &made.replay.bands[0];
    let share = (band.start_us + band.end_us) as f64 / 2e6 / made.recording.end_s;
    let deed = format!(
        "const plot = document.querySelector('.panel .plot'), box = plot.getBoundingClientRect();\
         plot.dispatchEvent(new PointerEvent('pointermove', {{clientX: box.left + {share} * box.width}}))"
    );
    let page = made.page().replace("</body>", &format!("<script>{deed}</script></body>"));
    let (_folder, path) = saved(&page);
    let loaded = browser.load(&path, "");
    assert_eq!(loaded.console, [""; 0]);
    let place = between(&loaded.document, "<span id=\"cursor-at\">", "</span>");
    assert!(place.starts_with("at ") && place.contains("band 1") && place.ends_with('°'), "{place}");
    let current = between(&loaded.document, "<span class=\"read\">", "</span>");
    assert!(current.contains(" A (readings ") && current.ends_with(" A)"), "{current}");
}

#[test]
fn a_page_with_a_fault_in_its_script_would_be_noticed() {
    let Some(browser) = Browser::find("a_page_with_a_fault_in_its_script_would_be_noticed") else { return };
    let page = faulty().page().replace("function unpack(packed) {", "function unpack(packed) { missing();");
    let (_folder, path) = saved(&page);
    assert!(!browser.load(&path, "").console.is_empty());
}

#[test]
fn nothing_is_asked_of_the_network_even_by_a_page_that_was_tampered_with() {
    let Some(browser) = Browser::find("nothing_is_asked_of_the_network") else { return };
    let page = faulty().page().replace("</body>", "<img src=\"http://127.0.0.1:9/x.png\"></body>");
    let (_folder, path) = saved(&page);
    let console = browser.load(&path, "").console;
    assert!(console.iter().any(|line| line.contains("Content Security Policy")), "{console:?}");
}

#[test]
fn the_page_prints() {
    let Some(browser) = Browser::find("the_page_prints") else { return };
    let (_folder, path) = saved(&faulty().page());
    let paper = browser.print(&path);
    assert!(paper.starts_with(b"%PDF-"));
    let pages = String::from_utf8_lossy(&paper).matches("/Type /Page\n").count();
    assert!((2..=8).contains(&pages), "{pages} pages");
}

/// A course of the page, unpacked: smallest and largest of each stretch.
fn unpacked(page: &str, key: &str, kind: &str) -> Vec<(f64, f64)> {
    let data: serde_json::Value =
        serde_json::from_str(between(page, "id=\"data\">", "</script>")).expect("the figures are JSON");
    let panel = data["panels"].as_array().expect("panels").iter().find(|panel| panel["key"] == key);
    let course = &panel.expect("the panel")[kind];
    let number = |name: &str| course[name].as_f64().expect("a number");
    let bytes = base64::engine::general_purpose::STANDARD
        .decode(course["data"].as_str().expect("text"))
        .expect("base64");
    let steps = bytes.chunks(2).map(|pair| u16::from_le_bytes([pair[0], pair[1]])).collect::<Vec<_>>();
    let value = |step: u16| number("low") + f64::from(step) * number("step");
    steps.chunks(2).filter(|pair| pair[0] != u16::MAX).map(|pair| (value(pair[0]), value(pair[1]))).collect()
}

#[test]
fn a_spike_of_one_sample_in_a_million_is_on_the_page_in_bounded_space() {
    let mut scenario = Scenario::good(Targets::of_file(&quick_procedure()), 50.0);
    scenario.sample_rate_hz = 20_000.0;
    let rows = scenario.rows().count() as u64;
    assert!(rows > 1_000_000, "{rows} rows");
    let spike_at = rows / 3;
    let made = made("spike.csv", &scenario, |index, row| {
        if index == spike_at {
            *row = row.with(Channel::Current, 777.0);
        }
    });
    let page = made.page();
    let current = unpacked(&page, "current", "reading");
    assert_eq!(current.iter().filter(|(_, high)| *high > 776.9).count(), 1);
    let place = current.iter().position(|(_, high)| *high > 776.9).expect("the spike") as f64;
    assert!((place / current.len() as f64 - 1.0 / 3.0).abs() < 2e-3);
    assert!(page.len() < 2_500_000, "{} bytes", page.len());
}

/// Against the recording itself: what the page is given holds every extreme, to one of its steps.
#[test]
fn what_the_page_is_given_never_lies_inside_what_was_recorded() {
    let made = faulty();
    let page = made.page();
    let recorded = made.recording.reading(Channel::Voltage).expect("a voltage").stretches();
    let packed = unpacked(&page, "voltage", "reading");
    let recorded: Vec<_> = recorded.iter().filter(|stretch| !stretch.is_empty()).collect();
    assert_eq!(recorded.len(), packed.len());
    for (own, (low, high)) in recorded.iter().zip(packed) {
        let (least, most) = (f64::from(own.low), f64::from(own.high));
        assert!(low <= least + 1e-9 && least - low < 2e-3, "{low} for {least}");
        assert!(high >= most - 1e-9 && high - most < 2e-3, "{high} for {most}");
    }
}

#[test]
fn the_page_says_what_was_found_where_and_by_what() {
    let made = faulty();
    let page = made.page();
    for rule in [Rule::GasLow, Rule::SpindleSlip] {
        let alarm = made.replay.alarms.iter().find(|alarm| alarm.rule == rule).expect("the alarm");
        let (_, degrees) = alarm.place().expect("a place");
        assert!(page.contains(&format!(" {} {degrees:.0}–", rule.name())), "{} on the joint", rule.name());
    }
    let likeliest = made.replay.findings.first().expect("a likely cause");
    assert!(between(&page, "<ol class=\"causes\">", "</h3>").contains(likeliest.words));
    assert!(page.contains("class=\"sight\"") && page.contains("<b>A</b>"), "its evidence is marked");
    for needed in
        ["OUTSIDE THE PROCEDURE", "0123456789abcdef", &made.file.sha256, "What was not judged", "Cautions"]
    {
        assert!(page.contains(needed), "{needed}");
    }
}

#[test]
fn without_a_procedure_nothing_is_called_within() {
    let made = faulty();
    let page = page::page(&Report { procedure: None, provenance: None, ..made.report() });
    // The alarms stay; it is the bands without one that must not look judged.
    assert!(!page.contains("✓"), "{}", between(&page, "<section id=\"bands\"", "</section>"));
    assert!(page.contains("not known"));
}

#[test]
fn what_others_wrote_is_never_markup() {
    let hostile = "</title><script>alert(1)</script>\"'&<img src=x>.csv";
    let scenario = Scenario::good(Targets::of_file(&quick_procedure()), 20.0);
    let mut made = made(hostile, &scenario, |_, _| {});
    made.file.name = Some(hostile.to_owned());
    made.file.revision = Some(hostile.to_owned());
    made.file.file = hostile.to_owned();
    made.replay.trace.start = Some(hostile.to_owned());
    let page = made.page();
    assert!(!page.contains("<script>alert") && !page.contains("<img"));
    // Title, heading, procedure, revision and start at the head; trace, file, procedure and revision at the foot.
    assert_eq!(page.matches("&lt;img src=x&gt;").count(), 9);
    let picture = picture::svg(&made.report());
    assert!(!picture.contains("<script") && !picture.contains("<img"));
}

/// WCAG 2.2, success criteria 1.3.1, 2.4.6, 4.1.2 (from memory), as far as text shows them.
#[test]
fn a_screen_reader_finds_its_way() {
    let page = faulty().page();
    let body = between(&page, "<body>", "<script type=\"application/json\"");
    assert!(page.contains("<html lang=\"en\">"));
    for table in body.split("<table").skip(1).map(|rest| between(rest, "", "</table>")) {
        assert!(table.contains("<caption>"), "{table}");
        assert_eq!(
            table.matches("<th").count() - table.matches("<thead").count(),
            table.matches("<th scope=").count()
        );
    }
    let levels: Vec<u32> = body
        .match_indices("<h")
        .filter_map(|(at, _)| body[at + 2..].chars().next().and_then(|digit| digit.to_digit(10)))
        .collect();
    assert_eq!(levels.first(), Some(&1));
    assert!(levels.windows(2).all(|pair| pair[1] <= pair[0] + 1), "{levels:?}");
    let ids: Vec<&str> =
        body.match_indices(" id=\"").map(|(at, _)| between(&body[at..], "id=\"", "\"")).collect();
    assert_eq!(ids.iter().collect::<BTreeSet<_>>().len(), ids.len(), "{ids:?}");
    for target in body.match_indices("href=\"#").map(|(at, _)| between(&body[at..], "href=\"#", "\"")) {
        assert!(target.starts_with("t=") || ids.contains(&target), "#{target} leads nowhere");
    }
    for plot in body.match_indices("class=\"plot\" role=\"img\"").map(|(at, _)| &body[at..]) {
        assert!(between(plot, "aria-label=\"", "\"").len() > 20);
    }
    for button in body.split("<button").skip(1) {
        let words = between(button, ">", "</button>");
        assert!(
            words.len() > 3
                || button.starts_with(" type=\"button\" data-action=\"") && button.contains("aria-label=")
        );
    }
}

type Colour = [f64; 3];

/// The colours of a style sheet's rule.
fn colours(sheet: &str) -> Vec<(String, Colour)> {
    sheet
        .split("--")
        .skip(1)
        .filter_map(|rest| {
            let (name, value) = rest.split_once(": #")?;
            let byte = |at: usize| u8::from_str_radix(value.get(at..at + 2)?, 16).ok().map(f64::from);
            // Short notations are not used for what is checked.
            let all = [byte(0)?, byte(2)?, byte(4)?];
            Some((name.to_owned(), all.map(|part| part / 255.0)))
        })
        .collect()
}

fn named(colours: &[(String, Colour)], name: &str) -> Colour {
    colours.iter().find(|(own, _)| own == name).unwrap_or_else(|| panic!("no colour {name}")).1
}

fn linear(colour: Colour) -> Colour {
    colour.map(|part| if part <= 0.040_45 { part / 12.92 } else { ((part + 0.055) / 1.055).powf(2.4) })
}

fn luminance(colour: Colour) -> f64 {
    let [red, green, blue] = linear(colour);
    0.2126 * red + 0.7152 * green + 0.0722 * blue
}

/// WCAG 2.2, contrast ratio.
fn contrast(one: Colour, other: Colour) -> f64 {
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

fn style_sheets() -> [(&'static str, Vec<(String, Colour)>); 2] {
    let sheet = include_str!("../../sim/src/report/page/style.css");
    let light = between(sheet, ":root {", "}");
    let dark =
        between(&sheet[sheet.find("prefers-color-scheme: dark").expect("a dark style")..], ":root {", "}");
    [("light", colours(light)), ("dark", colours(dark))]
}

/// WCAG 2.2, 1.4.3 (text 4.5) and 1.4.11 (graphics 3); computed with its own formula.
#[test]
fn text_and_lines_stand_out_in_light_and_dark() {
    for (style, colours) in style_sheets() {
        let colour = |name| named(&colours, name);
        for (front, back, least) in [
            ("ink", "paper", 7.0),
            ("ink", "sheet", 7.0),
            ("faint", "paper", 4.5),
            ("faint", "sheet", 4.5),
            ("high", "sheet", 4.5),
            ("good", "sheet", 4.5),
            ("advise", "sheet", 4.5),
            ("low", "paper", 4.5),
            ("on", "high", 4.5),
            ("on", "good", 4.5),
            ("judged", "sheet", 3.0),
            ("judged", "reading", 3.0),
            ("edge", "sheet", 3.0),
            ("mark", "sheet", 3.0),
        ] {
            let found = contrast(colour(front), colour(back));
            assert!(found >= least, "{style}: {front} on {back}: {found:.2}, needed {least}");
        }
    }
}

/// Colours as seen without the cones for red, or for green: Viénot, Brettel and Mollon, 1999, as
/// matrices on linear RGB (from memory). Too low and too high must stay apart, in CIE L*a*b* (1976).
#[test]
fn too_low_and_too_high_stay_apart_for_every_colour_vision() {
    const PROTAN: [Colour; 3] =
        [[0.112_38, 0.887_62, 0.0], [0.112_38, 0.887_62, 0.0], [0.004_01, -0.004_01, 1.0]];
    const DEUTAN: [Colour; 3] =
        [[0.292_75, 0.707_25, 0.0], [0.292_75, 0.707_25, 0.0], [-0.022_34, 0.022_34, 1.0]];
    const USUAL: [Colour; 3] = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    for (style, colours) in style_sheets() {
        for (vision, matrix) in [("usual", USUAL), ("protan", PROTAN), ("deutan", DEUTAN)] {
            for (one, other) in [("low", "high"), ("lowish", "highish"), ("low", "sheet"), ("high", "sheet")]
            {
                let [one_seen, other_seen] =
                    [one, other].map(|name| lab(times(matrix, linear(named(&colours, name)))));
                let apart =
                    (0..3).map(|axis| (one_seen[axis] - other_seen[axis]).powi(2)).sum::<f64>().sqrt();
                assert!(apart > 20.0, "{style}, {vision}: {one} and {other} are {apart:.1} apart");
            }
        }
    }
}

fn times(matrix: [Colour; 3], colour: Colour) -> Colour {
    matrix.map(|row| (0..3).map(|column| row[column] * colour[column]).sum())
}

/// CIE 1976 L*a*b* of linear sRGB, white D65 (IEC 61966-2-1).
fn lab(colour: Colour) -> Colour {
    const TO_XYZ: [Colour; 3] =
        [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]];
    let xyz = times(TO_XYZ, colour);
    let white = [0.9505, 1.0, 1.089];
    let root = |part: f64| if part > 0.008_856 { part.cbrt() } else { 7.787 * part + 16.0 / 116.0 };
    let [x, y, z] = [0, 1, 2].map(|axis| root(xyz[axis] / white[axis]));
    [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
}

/// Read back with another program's PNG reader.
#[test]
fn the_picture_is_a_png_with_words_and_marks_on_it() {
    let bytes = picture::png(&faulty().report()).expect("the picture can be made");
    let mut reader = png::Decoder::new(std::io::Cursor::new(bytes)).read_info().expect("a PNG");
    let mut dots = vec![0; reader.output_buffer_size().expect("a size")];
    let info = reader.next_frame(&mut dots).expect("a picture");
    assert_eq!((info.width, info.color_type), (1600, png::ColorType::Rgba));
    let at = |x: usize, y: usize| &dots[4 * (y * 1600 + x)..][..3];
    // Words of the verdict: dark dots where nothing else is drawn.
    let dark =
        (30..60).flat_map(|y| (110..600).map(move |x| (x, y))).filter(|&(x, y)| at(x, y)[0] < 80).count();
    assert!((1_000..8_000).contains(&dark), "{dark} dark dots in the words of the verdict");
    let of_colour = |colour: [u8; 3]| dots.chunks(4).filter(|dot| dot[..3] == colour).count();
    let verdict = of_colour([0xc0, 0x4e, 0x00]);
    assert!(verdict > 64 * 32, "{verdict} dots of the sign of the verdict");
    let alarm = of_colour([0x84, 0x35, 0x6a]);
    assert!(alarm > 500, "{alarm} dots of alarm");
    assert!(dots.chunks(4).all(|dot| dot[3] == 255), "no dot is see-through");
}

fn bandward(arguments: &[&str], folder: &Path) -> std::process::Output {
    Command::new(program::path()).args(arguments).current_dir(folder).output().expect("the program runs")
}

#[test]
fn the_program_writes_page_and_picture_of_the_demo() {
    let folder = tempfile::tempdir().expect("a folder");
    let output = bandward(&["replay", "--report", "a.html", "--png", "a.png"], folder.path());
    assert_eq!(output.status.code(), Some(1), "the demo has a faulty band");
    let page = std::fs::read_to_string(folder.path().join("a.html")).expect("the page");
    assert!(page.ends_with("</html>\n"));
    assert!(std::fs::read(folder.path().join("a.png")).expect("the picture").starts_with(b"\x89PNG"));
}

#[test]
fn what_cannot_be_written_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let output = bandward(&["replay", "--report", "no/such/folder/a.html"], folder.path());
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("cannot write no/such/folder/a.html"));
    let output = bandward(&["replay", "a.csv", "b.csv", "--png", "a.png"], folder.path());
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("--png shows one trace"));
}
