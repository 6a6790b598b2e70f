//! The mark of a setting, and the key to the marks.
//!
//! Decides: the shapes, one for each share of the faults that are missed, and their colours, which
//! colour-blind people tell apart by their lightness.
//! Assumes: shares from 0 to 1.
//! Never: uses one shape for two meanings.

use super::super::put;
use super::INK;

/// Up to which share of missed faults, its words in the key, and its colour.
const CLASSES: [(f64, &str, &str); 4] = [
    (0.0, "finds every fault", "#0072b2"),
    (0.1, "misses up to 10 %", "#d08a00"),
    (0.3, "up to 30 %", "#c04e00"),
    (1.0, "more", "#6b1d00"),
];

fn class(missed: f64) -> usize {
    CLASSES.iter().position(|(most, ..)| missed <= *most).unwrap_or(CLASSES.len() - 1)
}

/// The mark of a setting that misses this share.
pub(super) fn draw(body: &mut String, missed: f64, x: f64, y: f64) {
    let class = class(missed);
    let colour = CLASSES[class].2;
    let open = format!("fill=\"#ffffff\" fill-opacity=\"0.6\" stroke=\"{colour}\" stroke-width=\"1.6\"");
    match class {
        0 => put!(body, "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4.5\" fill=\"{colour}\"/>"),
        1 => put!(body, "<path d=\"M{x:.1} {:.1}l5 9h-10z\" {open}/>", y - 5.5),
        2 => put!(body, "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"8\" height=\"8\" {open}/>", x - 4.0, y - 4.0),
        _ => put!(
            body,
            "<path d=\"M{:.1} {:.1}l8 8m0 -8l-8 8\" stroke=\"{colour}\" stroke-width=\"1.6\"/>",
            x - 4.0,
            y - 4.0
        ),
    }
}

/// Round the present setting.
pub(super) fn present(body: &mut String, x: f64, y: f64) {
    put!(
        body,
        "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"10\" fill=\"none\" stroke=\"{INK}\" stroke-width=\"2\"/>"
    );
}

/// Round the setting that is proposed.
pub(super) fn proposed(body: &mut String, x: f64, y: f64) {
    put!(
        body,
        "<path d=\"M{x:.1} {:.1}l14 14l-14 14l-14 -14z\" fill=\"none\" stroke=\"{INK}\" stroke-width=\"2\"/>",
        y - 14.0
    );
}

/// What the marks mean, in two lines from here on.
pub(super) fn key(body: &mut String, x: f64, y: f64, with_proposed: bool) {
    let words = |body: &mut String, x: f64, y: f64, words: &str| {
        put!(body, "<text x=\"{:.1}\" y=\"{:.1}\">{words}</text>", x + 20.0, y + 5.0);
    };
    for ((most, text, _), at) in CLASSES.iter().zip([0.0, 165.0, 335.0, 460.0]) {
        draw(body, *most, x + at, y);
        words(body, x + at, y, text);
    }
    let below = y + 34.0;
    present(body, x, below);
    words(body, x, below, "as it is");
    put!(body, "<path d=\"M{:.1} {below:.1}h24\" stroke=\"{INK}\" stroke-width=\"2\"/>", x + 153.0);
    words(body, x + 165.0, below, "of those that miss least, none is better");
    if with_proposed {
        proposed(body, x + 505.0, below);
        words(body, x + 505.0, below, "proposed");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_class_has_its_own_shape_and_only_none_missed_is_the_first() {
        assert_eq!([0.0, 0.001, 0.1, 0.11, 0.3, 0.31, 1.0].map(class), [0, 1, 1, 2, 2, 3, 3]);
        let shape = |missed| {
            let mut body = String::new();
            draw(&mut body, missed, 0.0, 0.0);
            body.replace(CLASSES[class(missed)].2, "")
        };
        let mut shapes = [0.0, 0.05, 0.2, 0.9].map(shape).to_vec();
        shapes.sort();
        shapes.dedup();
        assert_eq!(shapes.len(), 4);
    }
}
