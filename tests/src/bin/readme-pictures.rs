//! Makes the pictures of the README anew, in `sim/pictures`: the page of the joint with one fault to find, and the
//! live page of the demo joint while an alarm is active.
//!
//! Decides: which parts of the page are shown, and how large.
//! Assumes: the program is built, Chromium is installed, and this runs at the root of the repository.
//! Never: draws anything itself: it shows what the program wrote.

use bandward_tests::browser::Browser;
use bandward_tests::driven::Driven;
use bandward_tests::program;
use bandward_tests::served::Served;
use std::collections::HashMap;
use std::path::Path;
use std::process::Command;

/// A part of the page: its file, what is left out, what of the traces is shown, and its height.
const PICTURES: [(&str, &str, &str, u32); 3] = [
    ("verdict.png", "main > section:not(.verdict, #causes) { display: none }", "", 860),
    (
        "joint.png",
        "header, .verdict, aside, main > section:not(#joint), .block:nth-child(n + 3) { display: none }",
        "",
        640,
    ),
    (
        "traces.png",
        "header, .verdict, aside, main > section:not(#traces), .panel:nth-of-type(n + 3) { display: none }",
        "#t=230-295",
        640,
    ),
];
/// The live page: its file, its window, whether it is dark, and how many dots of it make one of the picture.
const LIVE: [(&str, u32, u32, bool, u32); 3] = [
    ("live-wall.png", 1920, 1080, true, 2),
    ("live-tablet.png", 1024, 768, false, 1),
    ("live-phone.png", 390, 844, true, 1),
];
const WIDTH: u32 = 900;
/// A browser's window is taller than the page in it; what lies below is cut off.
const UNSEEN: u32 = 200;

fn main() {
    let pictures = Path::new("sim/pictures");
    assert!(pictures.is_dir(), "run this at the root of the repository");
    let Some(browser) = Browser::find("readme-pictures") else { return };
    live_page(&browser, pictures);
    let folder = tempfile::tempdir().expect("a folder");
    let root = std::env::current_dir().expect("a folder");
    let demo = |name: &str| root.join("sim/demo").join(name).display().to_string();
    let (procedure, setup, scenario) =
        (demo("procedure.toml"), demo("setup.toml"), demo("find-the-fault.toml"));
    for arguments in [
        &["setup", "--procedure", &procedure, "--from", &setup, "--save", "before.toml", "--initials", "AB"]
            [..],
        &["synth", &scenario, "-o", "joint.csv"],
        &[
            "replay",
            "--procedure",
            &procedure,
            "--setup",
            "before.toml",
            "joint.csv",
            "--report",
            "joint.html",
        ],
    ] {
        let output = Command::new(program::beside())
            .args(arguments)
            .current_dir(folder.path())
            .output()
            .expect("the program runs");
        assert_ne!(output.status.code(), Some(2), "{}", String::from_utf8_lossy(&output.stderr));
    }
    let page = std::fs::read_to_string(folder.path().join("joint.html")).expect("the page");
    for (name, left_out, fragment, height) in PICTURES {
        let part = folder.path().join("part.html");
        let style = format!("<style>:root {{ color-scheme: light }} {left_out}</style></head>");
        std::fs::write(&part, page.replacen("</head>", &style, 1)).expect("a page");
        let picture = few_colours(&browser.picture(&part, fragment, WIDTH, height + UNSEEN), height);
        println!("{name}: {} bytes", picture.len());
        std::fs::write(pictures.join(name), picture).expect("a picture");
    }
}

fn live_page(browser: &Browser, pictures: &Path) {
    let folder = tempfile::tempdir().expect("a folder");
    let served = Served::by(&program::beside(), folder.path(), "127.0.0.1:0", &["--speed", "8"]);
    let mut driven = Driven::start(browser.program());
    let page = driven.open(&served.url(), WIDTH, WIDTH, false);
    driven.wait_for(&page, "document.querySelector('#active .warn + span').innerText.includes('gas')");
    for (name, width, height, is_dark, parts) in LIVE {
        driven.size(&page, width, height, is_dark);
        // A state later everything has its place.
        std::thread::sleep(std::time::Duration::from_millis(300));
        let picture =
            few_colours(&driven.picture(&page, width, height, 1.0 / f64::from(parts)), height / parts);
        println!("{name}: {} bytes", picture.len());
        std::fs::write(pictures.join(name), picture).expect("a picture");
    }
}

/// The upper part of a picture, with a palette: of its colours the 256 that are seen most, and for the others the nearest.
fn few_colours(picture: &[u8], height: u32) -> Vec<u8> {
    let mut reader = png::Decoder::new(std::io::Cursor::new(picture)).read_info().expect("a PNG");
    let mut dots = vec![0; reader.output_buffer_size().expect("a size")];
    let info = reader.next_frame(&mut dots).expect("a picture");
    dots.truncate(info.line_size * height as usize);
    let colours: Vec<[u8; 3]> =
        dots.chunks(info.color_type.samples()).map(|dot| [dot[0], dot[1], dot[2]]).collect();
    let mut seen: HashMap<[u8; 3], u32> = HashMap::new();
    for colour in &colours {
        *seen.entry(*colour).or_default() += 1;
    }
    let mut palette: Vec<([u8; 3], u32)> = seen.into_iter().collect();
    palette.sort_by_key(|&(colour, count)| (std::cmp::Reverse(count), colour));
    palette.truncate(256);
    let nearest = |colour: [u8; 3]| {
        let apart =
            |other: [u8; 3]| (0..3).map(|at| u32::from(colour[at].abs_diff(other[at])).pow(2)).sum::<u32>();
        (0..palette.len()).min_by_key(|&at| apart(palette[at].0)).unwrap_or(0) as u8
    };
    let mut known: HashMap<[u8; 3], u8> = HashMap::new();
    let indices: Vec<u8> =
        colours.iter().map(|&colour| *known.entry(colour).or_insert_with(|| nearest(colour))).collect();
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, info.width, height);
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_palette(palette.iter().flat_map(|(colour, _)| *colour).collect::<Vec<u8>>());
    encoder.set_compression(png::Compression::High);
    // Filters spoil a palette: neighbouring numbers are no neighbouring colours.
    encoder.set_filter(png::Filter::NoFilter);
    encoder.write_header().and_then(|mut writer| writer.write_image_data(&indices)).expect("a picture");
    bytes
}
