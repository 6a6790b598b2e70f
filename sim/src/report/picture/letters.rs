//! Writing as outlines, for what draws a picture knows no fonts.
//!
//! Decides: which glyph of which font stands where.
//! Assumes: the writing is ours: `<text>` of plain words, with `<tspan>` in it at most, from left to right, attributes
//! in double quotes.
//! Never: leaves a character out: one that the font has not is drawn as its box; nor depends on the fonts of the machine
//! it is made on: it brings its own, whose licence lies in `sim/licences`.

use anyhow::Context as _;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use ttf_parser::{Face, GlyphId, OutlineBuilder};

/// Of writing that says nothing of its size.
const USUAL_SIZE: f32 = 16.0;

/// The sheet, every `<text>` in it as paths.
///
/// # Errors
/// The fonts that come with the program cannot be read.
pub(super) fn outlined(svg: &str) -> anyhow::Result<String> {
    let fonts = Fonts::new()?;
    let head = svg.split('>').next().unwrap_or_default();
    let usual = Style { size: USUAL_SIZE, ..Style::default() }.with(head);
    let mut drawn = String::with_capacity(svg.len() * 8);
    let mut rest = svg;
    while let Some((before, text)) = rest.split_once("<text ") {
        let (text, after) = text.split_once("</text>").context("a text has no end")?;
        drawn.push_str(before);
        fonts.draw(&mut drawn, text, &usual)?;
        rest = after;
    }
    drawn.push_str(rest);
    Ok(drawn)
}

/// How some words look.
#[derive(Clone, Default)]
struct Style {
    size: f32,
    is_bold: bool,
    /// Further on than it would stand.
    on: f32,
    /// What else there is to say, as attributes.
    others: BTreeMap<String, String>,
}

impl Style {
    /// With what the attributes of an element say.
    fn with(&self, attributes: &str) -> Self {
        let mut style = Self { on: 0.0, ..self.clone() };
        for (name, value) in pairs(attributes) {
            match name {
                "font-size" => style.size = value.parse().unwrap_or(style.size),
                "font-weight" => style.is_bold = value == "bold",
                "dx" => style.on = value.parse().unwrap_or_default(),
                "fill" | "stroke" | "stroke-width" | "paint-order" => {
                    style.others.insert(name.to_owned(), value.to_owned());
                }
                _ => {}
            }
        }
        style
    }
}

/// Names and values.
fn pairs(attributes: &str) -> impl Iterator<Item = (&str, &str)> {
    let mut parts = attributes.split('"');
    std::iter::from_fn(move || {
        let name = parts.next()?.trim().strip_suffix('=')?;
        // Before the first name the element's own may stand.
        Some((name.rsplit(char::is_whitespace).next()?, parts.next()?))
    })
}

/// Both weights.
struct Fonts {
    regular: Face<'static>,
    bold: Face<'static>,
}

impl Fonts {
    fn new() -> anyhow::Result<Self> {
        let face = |bytes| Face::parse(bytes, 0).context("the font that comes with the program");
        Ok(Self { regular: face(dejavu::sans::regular())?, bold: face(dejavu::sans::bold())? })
    }
    /// Draws what stands between `<text ` and `</text>`.
    fn draw(&self, drawn: &mut String, text: &str, usual: &Style) -> anyhow::Result<()> {
        let (attributes, words) = text.split_once('>').context("a text has no words")?;
        let of = |wanted| pairs(attributes).find_map(|(name, value)| (name == wanted).then_some(value));
        let at = |wanted| of(wanted).and_then(|value| value.parse::<f32>().ok()).unwrap_or_default();
        let runs = runs(words, &usual.with(attributes));
        let width: f32 = runs.iter().map(|(style, words)| style.on + self.width(style, words)).sum();
        let mut x = match of("text-anchor") {
            Some("middle") => at("x") - width / 2.0,
            Some("end") => at("x") - width,
            _ => at("x"),
        };
        for (style, words) in &runs {
            x += style.on;
            let mut pen = Pen { x, y: at("y"), scale: self.scale(style), path: String::new() };
            for (glyph, width) in self.glyphs(style, words) {
                self.face(style).outline_glyph(glyph, &mut pen);
                pen.x += width;
            }
            x = pen.x;
            drawn.push_str("<path");
            for (name, value) in &style.others {
                write!(drawn, " {name}=\"{value}\"")?;
            }
            write!(drawn, " d=\"{}\"/>", pen.path)?;
        }
        Ok(())
    }
    fn face(&self, style: &Style) -> &Face<'static> {
        if style.is_bold { &self.bold } else { &self.regular }
    }
    fn scale(&self, style: &Style) -> f32 {
        style.size / f32::from(self.face(style).units_per_em())
    }
    fn width(&self, style: &Style, words: &str) -> f32 {
        self.glyphs(style, words).map(|(_, width)| width).sum()
    }
    /// The glyphs of some words, each with its width.
    fn glyphs<'a>(&'a self, style: &'a Style, words: &'a str) -> impl Iterator<Item = (GlyphId, f32)> + 'a {
        let (face, scale) = (self.face(style), self.scale(style));
        words.chars().map(move |character| {
            let glyph = face.glyph_index(character).unwrap_or_default();
            (glyph, scale * f32::from(face.glyph_hor_advance(glyph).unwrap_or_default()))
        })
    }
}

/// The words of a text, by how they look; spaces side by side are one.
fn runs(words: &str, style: &Style) -> Vec<(Style, String)> {
    let mut runs: Vec<(Style, String)> = Vec::new();
    let mut add = |style: &Style, words: &str| {
        let begins = runs.last().is_none_or(|(_, before)| before.ends_with(' '));
        let mut clean = String::new();
        for character in unescaped(words).chars() {
            let is_space = character.is_whitespace();
            let after_space = if clean.is_empty() { begins } else { clean.ends_with(' ') };
            match (is_space, after_space) {
                (true, true) => {}
                (true, false) => clean.push(' '),
                (false, _) => clean.push(character),
            }
        }
        if !clean.is_empty() {
            runs.push((style.clone(), clean));
        }
    };
    let mut rest = words;
    while let Some((before, span)) = rest.split_once("<tspan") {
        add(style, before);
        let (span, after) = span.split_once("</tspan>").unwrap_or((span, ""));
        let (attributes, inside) = span.split_once('>').unwrap_or(("", span));
        add(&style.with(attributes), inside);
        rest = after;
    }
    add(style, rest);
    if let Some((_, last)) = runs.last_mut() {
        last.truncate(last.trim_end().len());
    }
    runs
}

fn unescaped(words: &str) -> String {
    let words = words.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&#39;", "'");
    words.replace("&amp;", "&")
}

/// Draws glyphs as a path, one after another.
struct Pen {
    x: f32,
    y: f32,
    scale: f32,
    path: String,
}

impl Pen {
    fn put(&mut self, command: char, points: &[(f32, f32)]) {
        self.path.push(command);
        for (x, y) in points {
            // Upwards in a font is downwards on the sheet.
            let (x, y) = (self.x + x * self.scale, self.y - y * self.scale);
            let _ = write!(self.path, "{x:.2} {y:.2} ");
        }
    }
}

impl OutlineBuilder for Pen {
    fn move_to(&mut self, x: f32, y: f32) {
        self.put('M', &[(x, y)]);
    }
    fn line_to(&mut self, x: f32, y: f32) {
        self.put('L', &[(x, y)]);
    }
    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        self.put('Q', &[(x1, y1), (x, y)]);
    }
    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        self.put('C', &[(x1, y1), (x2, y2), (x, y)]);
    }
    fn close(&mut self) {
        self.path.push('Z');
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Advances of the font (`DejaVu` Sans 2.37), of 2048, as its tables have them by another reader (fonttools 4).
    const H: f32 = 1540.0;
    const I: f32 = 569.0;
    const SPACE: f32 = 651.0;

    fn first_x(drawn: &str) -> f32 {
        let path = drawn.split("d=\"M").nth(1).expect("a path");
        path.split(' ').next().and_then(|x| x.parse().ok()).expect("a number")
    }

    #[test]
    fn words_stand_where_they_are_anchored() {
        let draw = |anchor: &str| {
            let svg = format!("<svg font-size=\"20.48\"><text x=\"100\" y=\"50\"{anchor}>Hi  H</text></svg>");
            first_x(&outlined(&svg).expect("it is ours"))
        };
        let width = (2.0 * H + I + SPACE) / 100.0;
        let start = draw("");
        assert!((start - draw(" text-anchor=\"end\"") - width).abs() < 0.02);
        assert!((start - draw(" text-anchor=\"middle\"") - width / 2.0).abs() < 0.02);
    }

    #[test]
    fn spans_look_as_they_say_and_the_rest_as_the_text_does() {
        let svg = "<svg font-size=\"10\"><text x=\"1\" y=\"2\" fill=\"#111\">a <tspan font-weight=\"bold\">b</tspan> \
                   <tspan fill=\"#222\" dx=\"6\">&lt;</tspan></text><rect/></svg>";
        let drawn = outlined(svg).expect("it is ours");
        assert!(!drawn.contains("text") && drawn.ends_with("<rect/></svg>"), "{drawn}");
        let fills: Vec<_> = drawn.split("<path").skip(1).map(|path| path.split(" d=").next()).collect();
        let plain = Some(" fill=\"#111\"");
        assert_eq!(fills, [plain, plain, plain, Some(" fill=\"#222\"")]);
    }

    #[test]
    fn a_character_that_the_font_has_not_is_drawn_as_a_box() {
        let drawn = outlined("<svg><text x=\"0\" y=\"9\">\u{4e00}</text></svg>").expect("it is ours");
        assert!(drawn.contains('M') && drawn.contains('Z'), "{drawn}");
    }
}
